/* The finished visit: its text, where it belongs, and the ways to hand it over. */

function visitView(page, goTo) {
  const { round, store } = page;
  const problems = make("ul", { class: "problems" });
  const whole = make("div", { role: "status" });
  const reminders = make("ul", { class: "problems" });
  const look = fold("Worth another look", {}, reminders);
  const where = make("p", { class: "where" });
  const text = make("pre", { tabindex: "0", "aria-label": "The visit as YAML" });
  const said = make("p", { role: "status", class: "said" });
  const share = button("Share", () => shareVisit(current(), said, markSent), { class: "main" });
  const copy = button("Copy", () => copyVisit(current(), text, said, markSent), { class: "main" });
  const download = button("Download", () => downloadVisit(current(), said, markSent), {
    class: "main",
  });
  share.hidden = !navigator.share;
  const begun = make("input", {
    type: "datetime-local",
    id: "begun",
    onchange: () =>
      page.change((unsent) => {
        unsent.begun = begun.value.slice(0, 16);
      }),
  });
  let sentText = "";

  function current() {
    const { visit, ...found } = visitOf(store.unsent, store.person, round, page.fields);
    const file = visitFile(store.unsent.begun, store.person);
    return { ...file, ...found, text: visitYaml(visit), entries: visit.entries.length };
  }

  function markSent(words) {
    sentText = current().text;
    setText(said, words);
  }

  function update() {
    const visit = current();
    const ready = visit.problems.length === 0;
    const leadThere = (mend) =>
      make(
        "li",
        {},
        button(mend.words, () => goTo(mend)),
      );
    problems.replaceChildren(...visit.problems.map(leadThere));
    reminders.replaceChildren(...visit.reminders.map(leadThere));
    look.hidden = visit.reminders.length === 0;
    setText(look.querySelector("summary"), `Worth another look (${visit.reminders.length})`);
    setText(whole, ready ? "The visit is complete." : "Before it can be sent:");
    setText(where, ready ? `Put it at ${visit.folder}${visit.name} in the site's files.` : "");
    setText(text, visit.entries > 0 ? visit.text : "");
    text.hidden = visit.entries === 0;
    for (const way of [share, copy, download]) way.disabled = !ready;
    if (begun.value !== store.unsent.begun) begun.value = store.unsent.begun;
    if (visit.text !== sentText) setText(said, "");
  }

  async function startAnew() {
    const handed = sentText !== "" && sentText === current().text;
    const words = handed
      ? "Start a new visit? This one was handed over; make sure that it arrived."
      : "Start a new visit? This one was NOT shared, copied or downloaded as it stands, and would be lost.";
    if (await ask(words, handed ? "Start anew" : "Lose it")) store.clear();
  }

  store.listenAsPart(update);
  update();
  return [
    make(
      "div",
      { class: "field" },
      make("label", { for: "begun" }, `Begun, by the site's clock (${round.time_zone})`),
      begun,
    ),
    helperFields(page),
    make("h3", {}, "Meters"),
    ...meterFields(page),
    textField(
      "Note about the whole visit",
      store.unsent.note,
      (note) =>
        page.change((unsent) => {
          unsent.note = note;
        }),
      { long: true },
    ),
    make("h3", {}, "Hand it over"),
    whole,
    problems,
    look,
    where,
    text,
    make("div", { class: "buttons" }, share, download, copy),
    said,
    make("div", { class: "buttons" }, button("Start a new visit", startAnew, { class: "grave" })),
  ];
}

function helperFields(page) {
  const { round, store } = page;
  const ticks = round.people.map((person) =>
    tickField(person.name, store.unsent.helpers.includes(person.ident), (helps) =>
      page.change((unsent) => {
        unsent.helpers = unsent.helpers.filter((ident) => ident !== person.ident);
        if (helps) unsent.helpers.push(person.ident);
      }),
    ),
  );
  return fold("Who helped?", {}, make("div", { class: "ticks" }, ...ticks));
}

/* Not every phone shares files that end in .yaml; a text file with the whole name is the way out. */
function shareableFile(visit, refused) {
  const files = [
    new File([visit.text], visit.name, { type: "text/yaml" }),
    new File([visit.text], `${visit.name}.txt`, { type: "text/plain" }),
  ];
  return files.find((file) => !refused.has(file.name) && navigator.canShare?.({ files: [file] }));
}

const refusedToShare = new Set();

async function shareVisit(visit, said, markSent) {
  const file = shareableFile(visit, refusedToShare);
  try {
    if (file) await navigator.share({ files: [file], title: visit.name });
    else await navigator.share({ title: visit.name, text: visit.text });
    markSent(
      file?.name === visit.name
        ? `Shared as ${visit.name}.`
        : `Shared. Save it under the name ${visit.name}.`,
    );
  } catch (error) {
    if (error.name === "AbortError") setText(said, "Not shared.");
    else if (file) {
      refusedToShare.add(file.name);
      setText(said, "This phone refused that kind of file. Press Share once more.");
    } else setText(said, "This phone cannot share it. Download or copy it.");
  }
}

async function copyVisit(visit, shownText, said, markSent) {
  try {
    await navigator.clipboard.writeText(visit.text);
  } catch {
    // From a plain server there is no clipboard to write to; the old way needs a selection.
    getSelection().selectAllChildren(shownText);
    if (!document.execCommand("copy")) {
      setText(said, "Copying was refused. The text is selected: copy it by hand, or download it.");
      return;
    }
  }
  markSent(`Copied. Save it as ${visit.folder}${visit.name}.`);
}

function downloadVisit(visit, said, markSent) {
  const address = URL.createObjectURL(new File([visit.text], visit.name, { type: "text/yaml" }));
  make("a", { href: address, download: visit.name }).click();
  // The browser takes its copy in its own time.
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  markSent(`Downloaded ${visit.name}. Put it in ${visit.folder}.`);
}
