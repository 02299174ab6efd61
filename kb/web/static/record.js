"use strict";
// How is a visit recorded with script? Jacks by a tap, marks read as one types, drafts, photos made smaller, and
// saved on the phone first. Without it the form works a page at a time.

function recording(form) {
  const jacks = one("#jacks", form);
  const page = location.pathname + location.search;
  const said = one("#said");
  const photoSaid = one("#photo-said");
  let photos = [];

  const number = () => 1 + Math.max(-1, ...every("[data-jack]", jacks).map((j) => Number(j.dataset.jack)));
  const add = (kind, mark = "", n = number()) => {
    const template = document.getElementById(`new-${kind}`);
    if (!template) return null;
    const jack = template.content.cloneNode(true).firstElementChild;
    for (const node of [jack, ...every("*", jack)]) {
      for (const { name, value } of [...node.attributes]) {
        if (value.includes("NUMBER")) node.setAttribute(name, value.replaceAll("NUMBER", n));
      }
    }
    jacks.append(jack);
    const field = one(`#jack-${n}-marking`, jack);
    field.value = mark;
    return field;
  };
  const fill = (fields) => {
    for (const [name, value] of fields) {
      const made = /^jack-(\d+)-form$/.exec(name);
      if (made && !form.elements.namedItem(name)) add(value, "", Number(made[1]));
    }
    for (const [name, value] of fields) {
      const field = form.elements.namedItem(name);
      if (field && "value" in field && field.type !== "file" && name !== "form_token") field.value = value;
    }
  };
  const fields = () => [...new FormData(form)].filter(([name, value]) => typeof value === "string" && name !== "form_token" && name !== "do");

  const read = later(async () => {
    const lines = every(".read-as", jacks);
    if (!lines.length) return;
    try {
      const sent = new FormData(form);
      sent.delete("photo");
      const answer = await fetch("/read", { method: "POST", body: sent, headers: { Accept: "application/json" } });
      const told = await answer.json();
      every(".jack", jacks).forEach((jack, n) => {
        if (told.read[n]) one(".read-as", jack).textContent = told.read[n];
        jack.classList.toggle("in-only", Boolean(told.in_only[n]) && !jack.contains(document.activeElement?.closest(".tried")));
      });
    } catch {
      lines.forEach((line) => { if (line.textContent === "…") line.textContent = "read when it is sent"; });
    }
  }, 250);
  const keep = later(() => Waiting.keepDraft({ page, fields: fields(), photos, at: Date.now() }).catch(() => {}), 200);

  const showPhotos = () => {
    one("#photo-kept").replaceChildren(...photos.map((photo, n) => {
      const item = document.createElement("li");
      item.append(Object.assign(document.createElement("img"), { src: URL.createObjectURL(photo), alt: `Photo ${n + 1} of the panel` }));
      const away = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: `Drop photo ${n + 1}` });
      away.addEventListener("click", () => { photos.splice(n, 1); showPhotos(); keep(); });
      item.append(away);
      return item;
    }));
  };
  // Smaller before it is sent: a basement has little link to spare. Place and camera data stay behind, too.
  const smaller = async (file) => {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, 2048 / Math.max(picture.width, picture.height));
    const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return new Promise((done, failed) => canvas.toBlob((b) => (b ? done(b) : failed(new Error("no picture"))), "image/jpeg", 0.85));
  };
  const take = async (files) => {
    const refused = [];
    for (const file of files) {
      if (photos.length >= Number(form.dataset.photos)) { refused.push(`a visit has at most ${form.dataset.photos} photos`); break; }
      try { photos.push(await smaller(file)); } catch { refused.push(`${file.name} is no picture that can be read`); }
    }
    say(photoSaid, refused.length ? `Left out: ${refused.join("; ")}.` : "");
    showPhotos();
    keep();
  };
  one("#photo", form).addEventListener("change", async (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    await take(files);
  });

  form.addEventListener("click", (event) => {
    const tile = event.target.closest(".tile, .drop, .try");
    if (!tile) return;
    event.preventDefault();
    if (tile.classList.contains("try")) {
      const jack = tile.closest(".jack");
      jack.classList.remove("in-only");
      one(".tried input", jack).focus();
      return;
    }
    if (tile.classList.contains("all")) {
      every(".known .tile[value]", form).filter((t) => !t.hidden).forEach((t) => {
        const [, kind, ...mark] = t.value.split(":");
        if (add(kind, mark.join(":"))) t.hidden = true;
      });
      one(".known", form).hidden = true;
      one("#known-title").hidden = true;
      one(".others", form).open = false;
      one(".jack", jacks).scrollIntoView({ block: "start" });
      one(".jack .tried input", jacks).focus({ preventScroll: true });
    } else if (tile.classList.contains("drop")) {
      const jack = tile.closest(".jack");
      const next = jack.nextElementSibling || jack.previousElementSibling;
      jack.remove();
      (next ? one("input[type=text]", next) : one(".tile", form)).focus();
    } else {
      const [, kind, ...mark] = tile.value.split(":");
      const field = add(kind, mark.join(":"));
      if (field) {
        if (mark.length) { // known from the book: the next tap is the likeliest thing to follow
          tile.hidden = true;
          (every(".known .tile[value]", form).find((t) => !t.hidden) || one("#tap-title", form)).focus({ preventScroll: true });
        } else {
          field.closest(".jack").scrollIntoView({ block: "nearest" });
          field.focus({ preventScroll: true });
        }
      }
    }
    read();
    keep();
  });
  form.addEventListener("input", () => { read(); keep(); });
  form.addEventListener("keydown", (event) => {
    // Enter in a field goes on to the next one instead of saving half a panel.
    if (event.key !== "Enter" || !event.target.matches("input")) return;
    event.preventDefault();
    const all = every("input:not([type=hidden]), select, textarea, button", form).filter((f) => f.offsetParent && f.tabIndex >= 0);
    const next = all.slice(all.indexOf(event.target) + 1).find((f) => !f.name || f.name !== event.target.name);
    if (next) next.focus();
  });

  const tell = (text) => {
    say(said, text);
    said.tabIndex = -1;
    said.focus();
    said.scrollIntoView({ block: "center" });
  };
  let saving = false;
  form.addEventListener("submit", async (event) => {
    const how = event.submitter ? event.submitter.value : "save";
    if (how !== "save" || form.dataset.plain) return;
    event.preventDefault();
    if (saving) return;
    saving = true;
    const visit = { id: form.elements.id.value, fields: fields(), photos, at: Date.now() };
    try {
      await Waiting.put(visit);  // on the phone first, whatever comes
    } catch {
      if (!(await linked())) {
        saving = false;
        tell("There is no link, and this browser keeps nothing (its storage is full or shut off). Nothing is saved yet: leave this page open, and save again when the link is back.");
        return;
      }
      form.dataset.plain = "yes";  // the plain way; photos go back to where the browser takes them from
      const files = new DataTransfer();
      photos.forEach((photo, n) => files.items.add(new File([photo], `panel-${n + 1}.jpg`, { type: "image/jpeg" })));
      one("#photo", form).files = files.files;
      form.requestSubmit(one("#save", form));
      return;
    }
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
    const done = await Waiting.send(visit);
    saving = false;
    if (done.state === "wrong") {
      await Waiting.keepDraft({ page, fields: visit.fields, photos, at: Date.now() });
      await Waiting.drop(visit.id);  // from now on it is in the form and in its draft, to be mended
      if (done.correct) {
        form.elements.supersedes.value = visit.id;
        form.elements.id.value = Waiting.newId();
      }
      tell(done.said);
      return;
    }
    await Waiting.dropDraft(page);
    form.reset();
    if (done.state === "later" && !(hasCaches && (await caches.match("/waiting"))) && !(await linked())) {
      // No page is kept on this phone (no TLS): leaving this one would end at the browser's own "no link".
      jacks.replaceChildren();
      photos = [];
      showPhotos();
      form.elements.id.value = Waiting.newId();
      tell("No link. The visit is kept on this phone and will be sent when the link is back; the next one can be recorded here.");
      showState();
      return;
    }
    location.assign(done.state === "sent" ? done.next + (done.left_out.length ? `&left=${done.left_out.length}` : "") : "/waiting");
  });

  (async () => {
    const wanted = new URLSearchParams(location.search).get("waiting");
    const kept = wanted ? await Waiting.get(wanted).catch(() => null) : await Waiting.draft(page).catch(() => null);
    const notice = one(".from-phone");
    if ("fresh" in form.dataset) form.elements.id.value = Waiting.newId();
    const now = new Date();
    const today = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
    // A form that the phone kept on an earlier day; a clock that is behind changes nothing.
    if ("fresh" in form.dataset && !form.elements.supersedes.value && today > document.body.dataset.made.slice(0, 10)) form.elements.date.value = today;
    if (kept && "fresh" in form.dataset) {
      fill(kept.fields);
      photos = kept.photos || [];
      showPhotos();
      if (!wanted) {
        say(notice, "Your entries from before are here again. ");
        const anew = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: "Begin anew" });
        anew.addEventListener("click", async () => { await Waiting.dropDraft(page); location.reload(); });
        notice.append(anew);
      } else if (kept.wrong) say(said, kept.wrong);
    }
    read();
    form.dataset.ready = "yes";
  })();
}

if (paired && one("#record")) recording(one("#record"));
