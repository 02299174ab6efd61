"use strict";
// Which test is next, without a link? Goes through the turns that were kept on the phone; what was answered stands
// in the address, as with a link, so that going back takes an answer back and a link that is back takes over.

(async () => {
  const place = one("#turn");
  const asked = new URLSearchParams(location.search);
  if (!place || !hasCaches) return;
  const pages = await caches.open(PAGES);
  const path = new URLSearchParams();
  for (const name of ["signal", "items", "input"]) asked.getAll(name).filter(Boolean).forEach((value) => path.append(name, value));
  const wanted = `/isolate/turns${String(path) ? `?${path}` : ""}`;
  const its = await turnsOf(pages, wanted);
  const kept = its || await turnsOf(pages, "/isolate/turns");
  if (!kept) return;

  const make = (tag, words, about = {}) => Object.assign(document.createElement(tag), { textContent: words, ...about });
  const capital = (words) => words.slice(0, 1).toUpperCase() + words.slice(1);
  const about = ["make", "model"].map((name) => asked.get(name)).filter(Boolean).join(" ");
  const answers = asked.getAll("a");
  const complaint = kept.complaints[asked.get("complaint")];
  const address = (given) => {
    const to = new URLSearchParams(asked);
    to.delete("a");
    given.forEach((one) => to.append("a", one));
    return `/isolate?${to}`;
  };
  const begin = new URLSearchParams([...asked].filter(([name]) => ["make", "model", "job"].includes(name)));
  const shown = [make("p", text("web/turns/no-link"), { className: "say" })];
  let known = Boolean(complaint) && !asked.has("mended") && !asked.has("without") && !asked.has("fixed");
  let node = known ? complaint.nodes[0] : null;
  for (const answer of known ? answers : []) {
    const [test, said] = answer.split(":");
    node = node && node.test === test ? complaint.nodes[node.to[said]] : null;
  }
  known = Boolean(node);
  if (complaint) shown.push(make("p", `${capital(complaint.says)}${about ? `, ${about}` : ""}${known && node.test ? `; ${kept.tests[node.test].minutes}` : ""}`, { className: "quiet over" }));
  if (!known) {
    shown.push(make("h1", text("web/turns/not-here")), make("p", text("web/turns/needs-link"), { className: "say" }));
  } else if (node.test) {
    const test = kept.tests[node.test];
    shown.push(make("h1", test.asks), make("p", test.how, { className: "how" }));
    if (test.caution) shown.push(make("p", test.caution, { className: "mind-one" }));
    const list = make("ul", "", { className: "choices" });
    list.append(...Object.entries(test.answers).map(([answer, looks]) => {
      const item = make("li", "");
      item.append(make("a", capital(looks), { className: "choice", href: address([...answers, `${node.test}:${answer}`]) }));
      return item;
    }));
    shown.push(list);
  } else {
    const fault = kept.faults[node.fault];
    shown.push(make("h1", node.verdict), make("p", fault.mend, { className: "how" }));
    if (fault.caution) shown.push(make("p", fault.caution, { className: "mind-one" }));
    if (node.more) shown.push(make("p", text("web/turns/end"), { className: "say" }));
  }
  if (!its && String(path)) shown.push(make("p", text("web/turns/any-path"), { className: "quiet" }));
  const row = make("p", "", { className: "row" });
  if (answers.length) row.append(make("a", text("web/isolate/undo"), { href: address(answers.slice(0, -1)) }));
  row.append(make("a", text("web/isolate/again"), { href: `/isolate${String(begin) ? `?${begin}` : ""}` }));
  if (known && !node.test && about) row.append(make("a", text("web/isolate/record"), { className: "button", href: `/record?${begin}` }));
  place.replaceChildren(...shown, row);
  document.title = `${one("h1", place).textContent} - Jackfield`;
  place.dataset.ready = "yes";
  if (await linked()) location.replace(location.pathname === "/isolate" ? location.href : "/isolate");
})();

async function turnsOf(pages, address) {
  const answer = await pages.match(new URL(address, location.href).href);
  return answer ? answer.json() : null;
}
