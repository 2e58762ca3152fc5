/* Puts the page together: who, the views, and what they share. */

const VIEWS = {
  walk: { tab: "Walk", heading: "Due work" },
  findings: { tab: "Findings", heading: "Findings" },
  readings: { tab: "Readings", heading: "Readings" },
  visit: { tab: "Visit", heading: "Visit" },
};

function payloadOf(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

function startPage() {
  const round = payloadOf("round-payload");
  for (const one of round.instruments) INSTRUMENTS.set(one.ident, one);
  const now = () => siteNow(round.time_zone);
  const store = openStore(round.site, now);
  store.setAsideLeftOver();
  const page = { round, fields: payloadOf("entry-fields"), store, change: store.change };
  const main = make("main", {});
  const nav = make("nav", { "aria-label": "Parts of the page" });
  document.body.append(
    make(
      "header",
      {},
      make("p", {}, `${round.site} · pocket page`),
      make("h1", {}, `Walk of ${round.as_of}`),
    ),
    make("aside", { "aria-label": "Notices" }, ...noticesOf(page, now()), earlierVisits(page)),
    main,
    nav,
  );
  const mount = () => mountViews(page, main, nav);
  store.listen((what) => {
    if (what === "replaced") mount();
  });
  mount();
  // A page left open overnight begins the new day as one opened then.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") store.setAsideLeftOver();
  });
  unfoldForPrint();
}

function noticesOf({ round, store }, now) {
  const keeping = make("p", { class: "caution", role: "alert" });
  const checkKeeping = () => {
    keeping.hidden = store.keeps;
    setText(
      keeping,
      store.keeps
        ? ""
        : "This phone does not keep the work: hand it over before you close the page.",
    );
  };
  store.listen(checkKeeping);
  checkKeeping();
  const notices = [keeping];
  const notice = (words) => notices.push(make("p", { class: "caution" }, words));
  if (!knowsZone(round.time_zone)) {
    notice(
      `This phone does not know the time zone ${round.time_zone}: check the time under Visit.`,
    );
  }
  const today = now.slice(0, 10);
  if (today !== round.as_of) {
    notice(`Today is ${today}: this walk was made for ${round.as_of}. A fresh page knows more.`);
  }
  return notices;
}

/* Visits left on an earlier day, each to be finished or discarded. */
function earlierVisits(page) {
  const holder = make("div", {});
  const build = () => holder.replaceChildren(...page.store.earlier.map(card));

  function card(visit) {
    const { begun, handedAs } = visit.unsent;
    const by = page.round.people.find((person) => person.ident === visit.by)?.name ?? visit.by;
    const finish = () => {
      page.store.takeUp(visit);
      page.goTo({ view: "visit" });
    };
    const discard = async () => {
      const words = `Discard the visit of ${begun.replace("T", " ")}? It cannot be brought back.`;
      if (await ask(words, "Discard it")) page.store.discardEarlier(visit);
    };
    return make(
      "section",
      { class: "caution", "aria-label": "Visit of an earlier day" },
      make(
        "p",
        {},
        make("strong", {}, `Unfinished: the visit of ${begun.replace("T", " ")}`),
        by ? ` by ${by}` : "",
        handedAs
          ? `. It was handed over as ${handedAs}: discard it once it has arrived.`
          : ". It was never handed over. It is kept apart from today's.",
      ),
      make("div", { class: "buttons" }, button("Finish it", finish), button("Discard it", discard)),
    );
  }

  page.store.listen((what) => {
    if (what === "replaced") build();
  });
  build();
  return holder;
}

function mountViews(page, main, nav) {
  // Listeners of parts that are gone would keep them alive and answer for them.
  page.store.forgetParts();
  const views = {};
  const tabs = {};
  const scrolled = {};
  let shownName = "walk";

  function show(name, focus = true) {
    scrolled[shownName] = window.scrollY;
    shownName = name;
    for (const key of Object.keys(VIEWS)) {
      views[key].hidden = key !== name;
      if (key === name) tabs[key].setAttribute("aria-current", "page");
      else tabs[key].removeAttribute("aria-current");
    }
    page.store.tell();
    if (focus) {
      window.scrollTo(0, scrolled[name] ?? 0);
      views[name].querySelector("h2").focus({ preventScroll: true });
    }
  }

  function goTo({ view, key, field }) {
    show(view);
    const at = (name) => views[view].querySelector(`[data-key="${CSS.escape(name)}"]`);
    const place = key && ((field && at(`${key} ${field}`)) || at(key));
    if (!place) return;
    for (let above = place; above; above = above.parentElement) {
      if (above.tagName === "DETAILS") above.open = true;
    }
    place.scrollIntoView({ block: "center" });
    place.querySelector("input, select, textarea, button")?.focus({ preventScroll: true });
  }

  const findings = extraCards(page, "finding");
  page.goTo = goTo;
  page.addFinding = (machine, point = "") => {
    show("findings");
    findings.add({ machine, point, text: "", urgency: "soon", failed: false, tied: false, stopped: "" });
  };
  const contents = {
    walk: walkView(page),
    findings: findingsView(page, findings),
    readings: readingsView(page),
    visit: visitView(page),
  };
  for (const [name, { tab, heading }] of Object.entries(VIEWS)) {
    views[name] = make(
      "section",
      { id: name },
      make("h2", { tabindex: "-1" }, heading),
      ...contents[name],
    );
    tabs[name] = button(tab, () => show(name));
  }
  main.replaceChildren(...Object.values(views));
  nav.replaceChildren(...Object.values(tabs));
  const countEntries = () => {
    const { entries } = visitNow(page);
    setText(tabs.visit, entries ? `${VIEWS.visit.tab} (${entries})` : VIEWS.visit.tab);
  };
  page.store.listenAsPart(countEntries);
  countEntries();
  show("walk", false);
}

function findingsView(page, cards) {
  return [
    button("New finding", () => page.addFinding(""), { class: "main" }),
    cards.element,
    page.round.findings.length ? make("h3", { class: "part" }, "Open findings") : "",
    ...page.round.findings.map((finding) => openFindingCard(page, finding)),
  ];
}

function readingsView(page) {
  const cards = extraCards(page, "reading");
  return [
    make("p", {}, "For what was read beside the tasks of the walk."),
    button("New reading", () => cards.add({ kind: "speed", draft: emptyDraft() }), {
      class: "main",
    }),
    cards.element,
  ];
}

function extraCards(page, what) {
  const mine = page.store.unsent.extras.filter((extra) => extra.what === what);
  const element = make("div", {}, ...mine.map((extra) => extraCard(page, extra.key)));
  return {
    element,
    add(fields) {
      const keys = page.store.unsent.extras.map((extra) => Number(extra.key.split(" ")[1]));
      const key = `extra ${Math.max(0, ...keys) + 1}`;
      page.change((unsent) =>
        unsent.extras.push({ key, what, machine: "", point: "", note: "", ...fields }),
      );
      const card = extraCard(page, key);
      element.append(card);
      card.querySelector(fields.machine ? "input" : "select").focus();
    },
  };
}

/* Paper cannot unfold. */
function unfoldForPrint() {
  let folded = [];
  window.addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    folded.forEach((part) => part.setAttribute("open", ""));
  });
  window.addEventListener("afterprint", () => {
    folded.forEach((part) => part.removeAttribute("open"));
  });
}

startPage();
