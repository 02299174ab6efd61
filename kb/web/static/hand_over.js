"use strict";
// Print the sheet, or hand it to another app of the phone; remember whom the client calls.

(() => {
  const form = one("#hand-over");
  const contact = one("#contact", form);
  const said = one("#hand-over-said");
  if (!contact.value) contact.value = remembered("contact");
  contact.addEventListener("input", () => remember("contact", contact.value.trim()));
  const address = () => `/sheet?${new URLSearchParams(new FormData(form))}`;
  const sheet = () => timely(2 * LIMIT, address(), {}, async (got) => {
    if (!got.ok || got.redirected) throw new Error("no sheet");
    return got.blob();
  });
  const name = `${one("h1 + p").textContent.replace(/[^\p{L}\p{N}]+/gu, "-")}.html`;
  const file = (blob) => new File([blob], name, { type: "text/html" });
  const share = one("#share", form);
  share.hidden = !(navigator.canShare && navigator.canShare({ files: [file(new Blob([""]))] }));
  share.addEventListener("click", async () => {
    let blob;
    try { blob = await sheet(); } catch { say(said, text("web/hand-over/no-link")); return; }
    try { await navigator.share({ files: [file(blob)], title: document.title }); } catch (gone) {
      if (gone.name !== "AbortError") say(said, text("web/hand-over/not-shared"));
    }
  });
  one("#print", form).addEventListener("click", () => {
    every("iframe").forEach((old) => old.remove());
    const frame = Object.assign(document.createElement("iframe"), { src: address(), title: text("web/hand-over/frame"), className: "hide" });
    frame.addEventListener("load", () => { frame.contentWindow.focus(); frame.contentWindow.print(); });
    document.body.append(frame);
  });
})();
