/* Rendered by tunnelbook from the files of this site; edits here are lost. */
"use strict";

// Finds machines, tasks, parts, findings and pages by any of their words. `things` comes from
// index.js. Text is only ever set as text, never as markup.
(() => {
  const form = document.querySelector("form.find");
  const field = document.getElementById("find");
  const found = document.getElementById("found");
  const hits = document.getElementById("hits");
  const most = 12;

  // Lower scores come first: a name that starts with the word, then a name that has it, then
  // any other words that have it. What lacks a word is no hit.
  const score = (thing, wanted) => {
    const title = thing.title.toLowerCase();
    let total = 0;
    for (const word of wanted) {
      if (title.startsWith(word)) total += 0;
      else if (title.includes(word)) total += 1;
      else if (thing.words.includes(word)) total += 2;
      else return null;
    }
    return total;
  };

  const matches = (wanted) =>
    things
      .map((thing) => ({ thing, score: score(thing, wanted) }))
      .filter((hit) => hit.score !== null)
      .sort((a, b) => a.score - b.score)
      .map((hit) => hit.thing);

  const show = () => {
    const wanted = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    const all = wanted.length ? matches(wanted) : [];
    hits.replaceChildren(
      ...all.slice(0, most).map((thing) => {
        const link = document.createElement("a");
        link.href = form.dataset.top + thing.page;
        link.textContent = thing.title;
        const item = document.createElement("li");
        item.append(link, ` ${thing.kind}`);
        return item;
      }),
    );
    if (!wanted.length) found.textContent = "";
    else if (!all.length) found.textContent = "Nothing has these words.";
    else if (all.length === 1) found.textContent = "1 found";
    else if (all.length > most) found.textContent = `${all.length} found, the first ${most} shown`;
    else found.textContent = `${all.length} found`;
  };

  // Arrow keys walk from the field through the hits and back; Escape clears.
  const walk = (event) => {
    const links = [...hits.querySelectorAll("a")];
    const stops = [field, ...links];
    const at = stops.indexOf(document.activeElement);
    if (event.key === "ArrowDown" && at < stops.length - 1) stops[at + 1].focus();
    else if (event.key === "ArrowUp" && at > 0) stops[at - 1].focus();
    else if (event.key === "Escape") {
      field.value = "";
      show();
      field.focus();
    } else return;
    event.preventDefault();
  };

  field.addEventListener("input", show);
  form.addEventListener("keydown", walk);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    hits.querySelector("a")?.click();
  });
  form.hidden = false;
  show();
})();

// As cards, rows are no table to some screen readers, so they say there what they are. Elsewhere
// they must not: HTML allows no role to what has it by itself (ARIA in HTML, 4, td).
(() => {
  const phone = matchMedia("(max-width: 40rem)");
  const roles = { table: "table", "thead, tbody": "rowgroup", tr: "row", th: "columnheader", td: "cell" };
  const tell = () => {
    for (const [parts, role] of Object.entries(roles)) {
      for (const part of document.querySelectorAll(`.stack :is(${parts})`)) {
        if (phone.matches) part.setAttribute("role", role);
        else part.removeAttribute("role");
      }
    }
  };
  phone.addEventListener("change", tell);
  tell();
})();
