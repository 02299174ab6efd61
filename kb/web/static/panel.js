"use strict";
// How is a panel read from a photo? Marks become jacks with numbered spots, which a thumb moves and throws away.

function panelReader(form, on) { // on: what the form's script can do with photos, jacks and spots
  const box = one("#read-panel");
  // What became of the reading of each photo; its number may be another one when the answer comes, or it may be gone.
  // reading or read: it needs no second time. said: in words. about: the set that it was compared with. differs: where.
  const readings = new WeakMap();
  const about = () => [form.elements.make.value, form.elements.model.value].map((name) => name.trim()).join("\n");

  const jackOf = (seen, photo) => { // a jack that is on the panel already, and has no spot on this photo
    const free = every("[data-jack]", form).filter((jack) => !on.spots().some((spot) => spot.photo === photo && spot.jack === Number(jack.dataset.jack)));
    return free.find((jack) => ["form", "marking"].every((name) => one(`[name=jack-${jack.dataset.jack}-${name}]`, jack).value === seen[name]));
  };
  const put = (seen, photo) => {
    const jack = jackOf(seen, photo) || on.add(seen.form, seen.marking)?.closest(".jack");
    if (!jack) return;
    on.setSpots([...on.spots(), { photo, x: seen.x, y: seen.y, jack: Number(jack.dataset.jack) }]);
    if (seen.why) jack.append(Object.assign(document.createElement("p"), { className: "doubt say", textContent: seen.why }));
  };
  const differ = (its, one_) => {
    const item = Object.assign(document.createElement("li"), { textContent: `${one_.text} ` });
    if (one_.form) {
      const there = Object.assign(document.createElement("button"), { type: "button", className: "second", textContent: text("web/panel/there") });
      there.addEventListener("click", () => { its.differs.splice(its.differs.indexOf(one_), 1); on.add(one_.form, one_.marking); on.changed(); show(); });
      item.append(there);
    }
    return item;
  };
  const show = () => { // of the photos that are there, and of the set that is named now
    const photos = on.photos();
    const all = photos.map((picture, n) => [readings.get(picture), n]).filter(([its]) => its);
    say(one("#panel-said"), all.map(([its, n]) => (photos.length > 1 ? `${text("web/panel/photo", { number: n + 1 })}: ${its.said}` : its.said)).join(" "));
    one("#panel-differs").replaceChildren(...all.filter(([its]) => its.about === about()).flatMap(([its]) => its.differs.map((one_) => differ(its, one_))));
  };
  for (const name of ["make", "model"]) form.elements[name].addEventListener("input", show);

  const read = async (picture) => {
    const its = { reading: true, read: false, said: text("web/panel/wait"), about: about(), differs: [] };
    readings.set(picture, its);
    on.show();
    const body = new FormData();
    for (const name of ["form_token", "make", "model", "kind"]) body.append(name, form.elements.namedItem(name).value);
    body.append("photo", picture, "panel.jpg");
    try {
      const [ok, answer] = await timely(READING, "/panel", { method: "POST", body, headers: { Accept: "application/json" } }, async (got) => [got.ok, await got.json()]);
      const photo = on.photos().indexOf(picture);
      if (photo < 0) return;
      its.read = ok;
      its.said = !ok ? answer.error : [answer.jacks.length ? text("web/panel/check") : text("web/panel/none"), ...answer.hints].join(" ");
      if (!ok) return;
      answer.jacks.forEach((seen) => put(seen, photo));
      its.differs = answer.differs;
      on.changed();
    } catch {
      its.said = text("web/panel/link");
    } finally {
      its.reading = false;
      on.show();
      box.scrollIntoView({ block: "nearest" });
    }
  };

  const grip = (frame, photo, spot) => { // a place for a thumb over a spot: drag moves it, a tap asks
    const node = document.createElementNS("http://www.w3.org/2000/svg", "ellipse");
    for (const [name, value] of [["class", "grip"], ["cx", `${spot.x * 100}%`], ["cy", `${spot.y * 100}%`], ["rx", 24], ["ry", 24]]) node.setAttribute(name, value);
    let from = null;
    const place = (event) => {
      const { left, top, width, height } = frame.getBoundingClientRect();
      const share = (at) => Math.round(Math.min(1, Math.max(0, at)) * 1000) / 1000;
      return { x: share((event.clientX - left) / width), y: share((event.clientY - top) / height) };
    };
    node.addEventListener("pointerdown", (event) => { from = event; node.setPointerCapture(event.pointerId); });
    node.addEventListener("pointermove", (event) => {
      if (!from) return;
      const { x, y } = place(event);
      node.setAttribute("cx", `${x * 100}%`);
      node.setAttribute("cy", `${y * 100}%`);
    });
    node.addEventListener("pointercancel", () => { from = null; on.show(); });
    node.addEventListener("pointerup", (event) => {
      const moved = from && Math.hypot(event.clientX - from.clientX, event.clientY - from.clientY) > 8;
      from = null;
      if (!moved) return;
      on.setSpots(on.spots().map((other) => (other.photo === photo && other.jack === spot.jack ? { ...other, ...place(event) } : other)));
      on.changed();
      on.show();
    });
    node.addEventListener("click", (event) => event.stopPropagation()); // it is no tap on the photo
    return node;
  };

  const marked = (item, frame, photo) => {
    const here = on.spots().filter((spot) => spot.photo === photo);
    one(".dots", frame).append(...here.map((spot) => grip(frame, photo, spot)));
    every(".on-photo li", item).forEach((line, number) => {
      const away = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: text("web/panel/away") });
      away.setAttribute("aria-label", `${text("web/panel/away")}: ${line.textContent}`);
      away.addEventListener("click", () => one(`.jack[data-jack="${here[number].jack}"] .drop`, form).click());
      const to = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: line.textContent });
      to.addEventListener("click", () => {
        const field = one(`[name=jack-${here[number].jack}-marking]`, form);
        field.closest(".jack").scrollIntoView({ block: "nearest" });
        field.focus({ preventScroll: true });
      });
      line.replaceChildren(to, away);
    });
    const its = readings.get(on.photos()[photo]);
    if (!("reads" in box.dataset) || its?.reading || its?.read) return;
    const button = Object.assign(document.createElement("button"), { type: "button", className: "second", textContent: text("web/panel/read") });
    button.addEventListener("click", () => read(on.photos()[photo]));
    item.append(button);
  };
  return { marked, show };
}
