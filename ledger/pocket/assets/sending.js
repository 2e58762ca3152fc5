/* The finished visit: its text, where it belongs, and the ways to hand it over. */

function visitView(page) {
  const { round, store } = page;
  const begun = make("input", {
    type: "datetime-local",
    id: "begun",
    onchange: () =>
      page.change((unsent) => {
        unsent.begun = begun.value.slice(0, 16);
      }),
  });
  const showBegun = () => {
    if (begun.value !== store.unsent.begun) begun.value = store.unsent.begun;
  };
  store.listenAsPart(showBegun);
  showBegun();
  return [
    ...openPart(page),
    ...handOverPart(page),
    make("h3", { class: "part" }, "Beside the entries"),
    make(
      "div",
      { class: "field", "data-key": "begun" },
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
      { long: true, key: "visit note" },
    ),
  ];
}

/* The visit as it stands: {problems, reminders, folder, name, text, entries}. */
function visitNow(page) {
  const { store, round, fields } = page;
  if (page.found?.revision !== store.revision) {
    const { visit, ...open } = visitOf(store.unsent, store.person, round, fields);
    const file = visitFile(store.unsent.begun, store.person);
    const text = visitYaml(visit);
    const entries = visit.entries.length;
    const toPropose = proposals(visit, round, file.name);
    page.found = { revision: store.revision, ...file, ...open, text, entries, toPropose };
  }
  return page.found;
}

/* What keeps the visit from being sent, what is open in it, and what it leaves due; each leads to
   its field. */
function openPart(page) {
  const whole = make("p", { class: "whole", role: "status" });
  const list = make("ul", { class: "problems" });
  const due = make("ul", { class: "problems" });
  const rest = fold("", {}, due);
  const leadThere = (mend) =>
    make(
      "li",
      {},
      button(mend.words, () => page.goTo(mend)),
    );
  function update() {
    // Long lists, built only for who looks; `show` tells when that is.
    if (list.closest("section")?.hidden) return;
    const { problems, reminders } = visitNow(page);
    const unanswered = unansweredAt(page.round, page.store.unsent, page.fields, page.store.person);
    setText(whole, wholeWords(problems, reminders));
    list.replaceChildren(...[...problems, ...reminders].map(leadThere));
    due.replaceChildren(...unanswered.map(leadThere));
    rest.hidden = unanswered.length === 0;
    const count = unanswered.reduce((sum, { places }) => sum + places, 0);
    setText(rest.firstChild, `Not answered on this walk, stays due: ${count}`);
  }
  page.store.listenAsPart(update);
  update();
  return [make("h3", { class: "part" }, "Open questions"), whole, list, rest];
}

function wholeWords(problems, reminders) {
  const open = problems.length + reminders.length;
  if (problems.length > 0) return `Not ready to send. Open: ${open}.`;
  if (reminders.length > 0) return `It can be sent, but is not complete. Open: ${open}.`;
  return "Ready to send. No question is open in what was answered.";
}

/* The work of the walk that has no answer, one line a machine: {words, view, key, places}. */
function unansweredAt(round, unsent, fields, person) {
  return round.machines.flatMap((machine) => {
    const items = round.due.filter((item) => item.machine === machine.ident);
    const { places, open } = progressOf(items, unsent, round, fields, person);
    if (open.length === 0) return [];
    const words = `${stationName(machine)}: ${open.length} of ${places}`;
    return [{ words, view: "walk", key: open[0], places: open.length }];
  });
}

/* Hosts refuse longer addresses, and one for signing in quotes this one once more. */
const MOST_OF_ADDRESS = 6000;
const NEW_FILE_WORDS = "Open the repository's page for it";

/* The host's page for a new file with path and text filled in; "" where the site names none. */
function newFileAddress(pattern, visit) {
  return pattern
    .replace("{path}", () => encodeURIComponent(`${visit.folder}${visit.name}`))
    .replace("{text}", () => encodeURIComponent(visit.text));
}

function handOverPart(page) {
  const { store } = page;
  const where = make("p", { class: "where" });
  const text = make("pre", { tabindex: "0", "aria-label": "The visit as YAML" });
  const propose = make(
    "div",
    {},
    make("p", {}, "Left at what nobody has approved. Once the visit is filed, propose it:"),
    make("pre", { tabindex: "0", "aria-label": "Commands that propose the settings" }),
  );
  const said = make("p", { role: "status", class: "said" });
  const markSent = (name, words) => {
    const { round, fields } = page;
    store.markHandedOver(name, keysDone(store.unsent, store.person, round, fields));
    setText(said, words);
  };
  const wayOut = (words, send) =>
    button(words, () => send(visitNow(page), { said, markSent, text }), { class: "main" });
  const there = make("a", { class: "way", target: "_blank", rel: "noreferrer" }, NEW_FILE_WORDS);
  // What becomes of it on the host's page cannot be known here, so the person says.
  const committed = button("It is committed there", () =>
    markSent(visitNow(page).name, "Committed on the repository's page."),
  );
  there.addEventListener("click", () => store.markOpened());
  const share = wayOut("Share", shareVisit);
  const copy = wayOut("Copy", copyVisit);
  const download = wayOut("Download", downloadVisit);
  share.hidden = !navigator.share;
  const tooLong = make("p", {}, "Too long for the host's page: share, copy or download it.");

  function update() {
    const visit = visitNow(page);
    const ready = visit.problems.length === 0;
    setText(where, ready ? `Send it to whoever files the visits: tunnelbook receive takes it as it is. Or put it at ${visit.folder}${visit.name} in the site's files.` : "");
    setText(text, visit.entries > 0 ? visit.text : "");
    const commands = visit.toPropose.join("\n");
    setText(propose.lastChild, commands);
    propose.hidden = commands === "";
    text.hidden = visit.entries === 0;
    for (const way of [share, copy, download]) way.disabled = !ready;
    const address = ready ? newFileAddress(page.round.new_file, visit) : "";
    there.hidden = address === "" || address.length > MOST_OF_ADDRESS;
    if (!there.hidden) there.href = address;
    committed.hidden = there.hidden || !store.unsent.isOpened || store.unsent.handedAs !== "";
    tooLong.hidden = address.length <= MOST_OF_ADDRESS;
    if (!store.unsent.handedAs) setText(said, "");
  }

  async function startAnew() {
    const handed = store.unsent.handedAs !== "";
    const words = handed
      ? "Start a new visit? This one was handed over; make sure that it arrived."
      : "Start a new visit? This one was NOT handed over as it stands, and would be lost.";
    if (await ask(words, handed ? "Start anew" : "Lose it")) store.clear();
  }

  store.listenAsPart(update);
  update();
  return [
    make("h3", { class: "part" }, "Hand it over"),
    make("div", { class: "buttons" }, share, download, copy, there, committed),
    tooLong,
    said,
    where,
    text,
    propose,
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

async function shareVisit(visit, { said, markSent }) {
  const file = shareableFile(visit, refusedToShare);
  try {
    if (file) await navigator.share({ files: [file], title: visit.name });
    else await navigator.share({ title: visit.name, text: visit.text });
    markSent(visit.name, file ? `Shared as ${file.name}.` : "Shared as text.");
  } catch (error) {
    if (error.name === "AbortError") setText(said, "Not shared.");
    else if (file) {
      refusedToShare.add(file.name);
      setText(said, "This phone refused that kind of file. Press Share once more.");
    } else setText(said, "This phone cannot share it. Download or copy it.");
  }
}

async function copyVisit(visit, { said, markSent, text }) {
  try {
    await navigator.clipboard.writeText(visit.text);
  } catch {
    // From a plain server there is no clipboard to write to; the old way needs a selection.
    getSelection().selectAllChildren(text);
    if (!document.execCommand("copy")) {
      setText(said, "Copying was refused. The text is selected: copy it by hand, or download it.");
      return;
    }
  }
  markSent(visit.name, "Copied. Paste it into a message to whoever files the visits.");
}

function downloadVisit(visit, { markSent }) {
  const address = URL.createObjectURL(new File([visit.text], visit.name, { type: "text/yaml" }));
  make("a", { href: address, download: visit.name }).click();
  // The browser takes its copy in its own time.
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  markSent(visit.name, `Downloaded ${visit.name}. Send it to whoever files the visits.`);
}
