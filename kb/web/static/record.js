"use strict";
// How is a visit recorded with script? Jacks by a tap, marks read as one types, drafts, photos made smaller, and
// saved on the phone first. Without it the form works a page at a time.

const PATIENCE = 12000; // ms that somebody waits for the book; after that the visit is sent from any page

function recording(form) {
  const jacks = one("#jacks", form);
  const page = location.pathname + location.search;
  const said = one("#said");
  const photoSaid = one("#photo-said");
  let photos = [];

  const number = () => 1 + Math.max(-1, ...every("[data-jack]", jacks).map((j) => Number(j.dataset.jack)));
  const add = (kind, mark = "", n = number()) => {
    const tile = one(`.others .tile[value="add:${kind}"]`, form);
    if (!tile) return null;
    const [plate, name] = tile.children; // the tile has drawing and name of the form already
    const put = (said) => said.replaceAll("JACK_NUMBER", n + 1).replaceAll("NUMBER", n).replaceAll("FORM_WORD", kind).replaceAll("FORM_NAME", name.textContent);
    const jack = one("#new-jack").content.cloneNode(true).firstElementChild;
    for (const node of [jack, ...every("*", jack)]) for (const about of [...node.attributes]) node.setAttribute(about.name, put(about.value));
    one(".plate", jack).replaceWith(plate.cloneNode(true));
    one(".form-name", jack).textContent = name.textContent;
    one(`[name=jack-${n}-form]`, jack).value = kind;
    one("summary .hide", jack).textContent = put(one("summary .hide", jack).textContent);
    jacks.append(jack);
    const field = one(`#jack-${n}-marking`, jack);
    field.value = mark;
    return field;
  };
  const fill = (fields) => {
    const there = new Set(fields.map(([name]) => name));
    for (const jack of every("[data-jack]", jacks)) if (!there.has(`jack-${jack.dataset.jack}-form`)) jack.remove();
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

  let asked = 0;
  const read = later(async () => {
    const these = every(".jack", jacks); // the panel may be another one when the answer comes
    const lines = these.map((jack) => one(".read-as", jack));
    const mine = ++asked;
    if (!lines.length) return;
    try {
      const sent = new FormData(form);
      sent.delete("photo");
      const told = await timely(LIMIT, "/read", { method: "POST", body: sent, headers: { Accept: "application/json" } }, (got) => got.json());
      if (mine !== asked) return;
      these.forEach((jack, n) => {
        if (told.read[n]) one(".read-as", jack).textContent = told.read[n];
        jack.classList.toggle("in-only", Boolean(told.in_only[n]) && !jack.contains(document.activeElement?.closest(".tried")));
      });
    } catch {
      lines.forEach((line) => { if (line.textContent === "…") line.textContent = text("web/record/unread"); });
    }
  }, 250);
  let typed = false; // by a person, and not by the page
  const draft = () => ({ page, fields: fields(), photos, typed, at: Date.now() });
  const keep = later(() => { if (!saved) Waiting.keepDraft(draft()).catch(() => {}); }, 200);
  let saved = false;
  const asKnown = JSON.parse(form.dataset.asKnown || "{}");
  const shown = () => every("[data-jack]", jacks).map((jack) => ["form", "marking"].map((name) => one(`[name=jack-${jack.dataset.jack}-${name}]`, jack).value).join(":"));
  // What is on the panel already is not offered again.
  const offer = () => {
    const there = shown();
    let left = 0;
    for (const tile of every(".known .tile[value]", form)) {
      const at = there.indexOf(tile.value.slice("add:".length));
      if (at >= 0) there.splice(at, 1);
      tile.hidden = at >= 0;
      left += at < 0;
    }
    for (const jack of every("[data-jack]", jacks)) { // how it went when the book saw it, as one tap
      const at = (name) => `[name=jack-${jack.dataset.jack}-${name}]`;
      const speakers = asKnown[["form", "marking"].map((name) => one(at(name), jack).value).join(":")];
      const offered = one(".as-known", jack);
      const chosen = one(`${at("outcome")}:checked`, jack);
      offered.hidden = !speakers || (chosen && chosen.value !== "not-tried");
      if (!speakers) continue;
      offered.dataset.speakers = speakers;
      const label = (name, value) => one(`${at(name)}[value="${value}"]`, jack).closest("label").textContent;
      offered.textContent = text("web/record/as-known", { outcome: label("outcome", "carried"), speakers: label("speakers", speakers) });
    }
    const all = one(".known .all", form);
    if (all) {
      all.hidden = left < 2;
      one("span", all).textContent = text(left === Number(all.dataset.all) ? "web/record/all" : "web/record/others", { count: left });
    }
    for (const node of [one(".known", form), one("#known-title")]) if (node) node.hidden = !left;
  };

  // Where jacks are on the photos: in the form's own field, so that drafts and waiting visits have it, too.
  const spots = () => { try { return JSON.parse(form.elements.spots.value || "[]"); } catch { return []; } };
  const setSpots = (all) => { form.elements.spots.value = JSON.stringify(all); };
  let pending = null; // a spot that was tapped and waits for its jack
  const markOf = (n) => {
    const field = form.elements.namedItem(`jack-${n}-marking`);
    return field ? field.value || one("legend", field.closest(".jack")).textContent.trim() : "";
  };
  const dots = (n) => {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("class", "dots");
    svg.setAttribute("aria-hidden", "true");
    const here = spots().filter((spot) => spot.photo === n).concat(pending && pending.photo === n ? [pending] : []);
    here.forEach((spot, number) => {
      for (const [tag, about] of [["circle", { cx: `${spot.x * 100}%`, cy: `${spot.y * 100}%`, r: 11 }], ["text", { x: `${spot.x * 100}%`, y: `${spot.y * 100}%`, dy: 5 }]]) {
        const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
        for (const [name, value] of Object.entries(about)) node.setAttribute(name, value);
        if (tag === "text") node.textContent = spot === pending ? "?" : number + 1;
        svg.append(node);
      }
    });
    return svg;
  };
  const point = (photo, x, y) => {
    pending = { photo, x: Math.round(x * 1000) / 1000, y: Math.round(y * 1000) / 1000 };
    showPhotos();
  };
  const showPending = () => { // whose spot it is, as long as one waits
    say(one("#point-said"), pending ? text("web/record/which") : "");
    one("#point-choose").hidden = !pending;
    const choices = every("[data-jack]", jacks).map((jack) => {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "second", textContent: markOf(jack.dataset.jack) });
      button.addEventListener("click", () => bind(Number(jack.dataset.jack)));
      return button;
    });
    const none = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: text("web/record/none") });
    none.addEventListener("click", () => bind(null));
    one("#point-choose").replaceChildren(...choices, none);
  };
  const bind = (jack) => {
    if (!pending) return;
    if (jack !== null) setSpots([...spots().filter((spot) => spot.photo !== pending.photo || spot.jack !== jack), { ...pending, jack }]);
    pending = null;
    showPhotos();
    keep();
  };
  const addresses = new WeakMap(); // one for each photo, however often it is drawn
  const address = (photo) => {
    if (!addresses.has(photo)) addresses.set(photo, URL.createObjectURL(photo));
    return addresses.get(photo);
  };
  const showPhotos = () => {
    one("#photo-kept").replaceChildren(...photos.map((photo, n) => {
      const item = Object.assign(document.createElement("li"), { className: "on-photo-form" });
      const frame = Object.assign(document.createElement("div"), { className: "on-form" });
      frame.addEventListener("click", (event) => {
        const box = frame.getBoundingClientRect();
        point(n, (event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
      });
      item.append(frame);
      frame.append(Object.assign(document.createElement("img"), { src: address(photo), alt: text(photo.type === "image/jpeg" ? "web/record/photo-of" : "web/record/photo-unseen", { number: n + 1 }) }));
      const away = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: text("web/record/drop-photo", { number: n + 1 }) });
      away.addEventListener("click", () => {
        photos.splice(n, 1);
        pending = null;
        setSpots(spots().filter((spot) => spot.photo !== n).map((spot) => ({ ...spot, photo: spot.photo - (spot.photo > n) })));
        showPhotos();
        keep();
      });
      frame.append(dots(n));
      const here = spots().filter((spot) => spot.photo === n);
      const list = Object.assign(document.createElement("ol"), { className: "on-photo" });
      list.append(...here.map((spot) => Object.assign(document.createElement("li"), { textContent: markOf(spot.jack) })));
      item.append(...(here.length ? [list] : [Object.assign(document.createElement("p"), { className: "quiet", textContent: text("web/record/point") })]), away);
      reader.marked(item, frame, n);
      return item;
    }));
    reader.show();
    showPending();
  };
  const reader = panelReader(form, {
    add, spots, setSpots, photos: () => photos, show: () => showPhotos(), changed: () => { typed = true; offer(); read(); keep(); },
  });
  // Smaller before it is sent: a basement has little link to spare. Place and camera data stay behind, too.
  const smaller = async (file) => {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, 2048 / Math.max(picture.width, picture.height));
    const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return new Promise((done, failed) => canvas.toBlob((b) => (b ? done(b) : failed(new Error("no picture"))), "image/jpeg", 0.85));
  };
  const heic = async (file) => {
    try { return /^ftyp(hei|hev|mif1|msf1)/.test(await file.slice(4, 12).text()); } catch { return false; } // the file is gone
  };
  const take = async (files) => {
    const refused = [];
    for (const file of files) {
      if (photos.length >= Number(form.dataset.photos)) { refused.push(text("web/record/most-photos", { count: form.dataset.photos })); break; }
      if (file.size > Number(form.dataset.most)) { refused.push(text("web/record/too-large", { name: file.name, size: Math.floor(form.dataset.most / 1048576) })); continue; }
      try {
        const small = await smaller(file);
        photos.push(small);
      } catch {
        if (await heic(file)) photos.push(file); // this browser cannot show it; perhaps the book can read it
        else refused.push(text("web/record/no-picture", { name: file.name }));
      }
    }
    say(photoSaid, refused.length ? text("web/record/left-out", { reasons: refused.join("; ") }) : "");
    showPhotos();
    keep();
  };
  let taking = Promise.resolve(); // a photo that is still made smaller belongs to the visit
  for (const from of every(".camera", form)) { // the camera, or a picture that is there already
    from.addEventListener("change", (event) => {
      const files = [...event.target.files];
      event.target.value = "";
      taking = taking.then(() => take(files));
    });
  }

  form.addEventListener("click", (event) => {
    const tile = event.target.closest(".tile, .drop, .try, .as-known");
    if (!tile) return;
    event.preventDefault();
    if (tile.classList.contains("try")) {
      const jack = tile.closest(".jack");
      jack.classList.remove("in-only");
      one(".tried input", jack).focus();
      return;
    }
    if (tile.classList.contains("as-known")) {
      const jack = tile.closest(".jack");
      for (const [name, value] of [["outcome", "carried"], ["speakers", tile.dataset.speakers]]) one(`[name=jack-${jack.dataset.jack}-${name}][value="${value}"]`, jack).checked = true;
      one(`[name=jack-${jack.dataset.jack}-outcome]:checked`, jack).focus({ preventScroll: true });
      typed = true;
    } else if (tile.classList.contains("all")) {
      every(".known .tile[value]", form).filter((t) => !t.hidden).forEach((t) => {
        const [, kind, ...mark] = t.value.split(":");
        add(kind, mark.join(":"));
      });
      one(".others", form).open = false;
      one(".jack", jacks).scrollIntoView({ block: "start" });
      one(".jack .tried input", jacks).focus({ preventScroll: true });
    } else if (tile.classList.contains("drop")) {
      const jack = tile.closest(".jack");
      const next = jack.nextElementSibling || jack.previousElementSibling;
      setSpots(spots().filter((spot) => spot.jack !== Number(jack.dataset.jack)));
      jack.remove();
      showPhotos();
      (next ? one("input[type=text]", next) : one(".tile", form)).focus();
    } else {
      const [, kind, ...mark] = tile.value.split(":");
      const field = add(kind, mark.join(":"));
      if (field && pending) bind(Number(field.closest(".jack").dataset.jack));
      if (field) {
        if (mark.length && tile.closest(".often")) {
          tile.hidden = true;
        } else if (mark.length) { // known from the book: the next tap is the likeliest thing to follow
          offer();
          (every(".known .tile[value]", form).find((t) => !t.hidden) || one("#tap-title", form)).focus({ preventScroll: true });
        } else {
          field.closest(".jack").scrollIntoView({ block: "nearest" });
          field.focus({ preventScroll: true });
        }
      }
    }
    offer();
    read();
    keep();
  });
  form.addEventListener("input", (event) => {
    typed = true;
    offer();
    read();
    keep();
    if (spots().length && event.target.name.endsWith("-marking")) showPhotos(); // its words on the photo, too
  });
  form.addEventListener("keydown", (event) => {
    // Enter in a field goes on to the next one instead of saving half a panel.
    if (event.key !== "Enter" || !event.target.matches("input")) return;
    event.preventDefault();
    const all = every("input:not([type=hidden]), select, textarea, button", form).filter((f) => f.offsetParent && f.tabIndex >= 0);
    const next = all.slice(all.indexOf(event.target) + 1).find((f) => !f.name || f.name !== event.target.name);
    if (next) next.focus();
  });

  const tell = (words) => {
    say(said, words);
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
    await taking;
    remember("by", form.elements.by.value.trim());
    const visit = { id: form.elements.id.value, fields: fields(), photos, at: Date.now() };
    try {
      await Waiting.put(visit);  // on the phone first, whatever comes
    } catch {
      if (!(await linked())) {
        saving = false;
        tell(text("web/record/no-storage"));
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
    say(said, text("web/record/safe"));
    said.classList.remove("bad");
    const done = await Promise.race([Waiting.send(visit), new Promise((late) => setTimeout(() => late({ state: "later", said: "" }), PATIENCE))]);
    said.classList.add("bad");
    say(said, "");
    saving = false;
    if (done.state === "wrong") {
      await Waiting.keepDraft(draft());
      await Waiting.drop(visit.id);  // from now on it is in the form and in its draft, to be mended
      if (done.correct) {
        form.elements.supersedes.value = visit.id;
        form.elements.id.value = Waiting.newId();
      }
      tell(done.said);
      return;
    }
    saved = true;
    await Waiting.dropDraft(page);
    form.reset();
    if (done.state === "later" && !(hasCaches && (await caches.match("/waiting"))) && !(await linked())) {
      // No page is kept on this phone (no TLS): leaving this one would end at the browser's own "no link".
      jacks.replaceChildren();
      offer();
      saved = typed = false;
      photos = [];
      showPhotos();
      form.elements.id.value = Waiting.newId();
      tell(text("web/record/kept"));
      showState();
      return;
    }
    location.assign(done.state === "sent" ? done.next : "/waiting");
  });

  (async () => {
    const wanted = new URLSearchParams(location.search).get("waiting");
    const kept = wanted ? await Waiting.get(wanted).catch(() => null) : await Waiting.draft(page).catch(() => null);
    const notice = one(".from-phone");
    if ("fresh" in form.dataset) form.elements.id.value = Waiting.newId();
    if ("fresh" in form.dataset) { // without a link this may be the empty form, for an address that names a set
      const asked = new URLSearchParams(location.search);
      for (const [name, from] of [["make", "make"], ["model", "model"], ["job_id", "job"]]) {
        const field = form.elements.namedItem(name);
        if (!field.value && asked.get(from)) field.value = asked.get(from);
      }
      if (!form.elements.supersedes.value && remembered("by")) form.elements.by.value = remembered("by");
    }
    const now = new Date();
    const today = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
    // A form that the phone kept on an earlier day; a clock that is behind changes nothing.
    if ("fresh" in form.dataset && !form.elements.supersedes.value && today > document.body.dataset.made.slice(0, 10)) form.elements.date.value = today;
    if (kept && "fresh" in form.dataset) {
      fill(kept.fields);
      photos = [...(kept.photos || []), ...photos];
      typed = Boolean(kept.typed);
      showPhotos();
      if (!wanted) {
        say(notice, `${text("web/record/restored")} `);
        const aside = Object.assign(document.createElement("button"), { type: "button", className: "link", textContent: text("web/record/aside") });
        aside.addEventListener("click", async () => { // they stay in the list of what was begun
          saved = true;
          await Waiting.keepDraft({ ...kept, page: `/record?draft=${Waiting.newId()}` });
          await Waiting.dropDraft(page);
          location.reload();
        });
        notice.append(aside);
      } else if (kept.wrong) say(said, kept.wrong);
    }
    offer();
    read();
    form.dataset.ready = "yes";
  })();
}

if (paired && one("#record")) recording(one("#record"));
