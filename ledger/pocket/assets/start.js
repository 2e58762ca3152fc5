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
  const payload = payloadOf("round-payload");
  for (const one of payload.instruments) INSTRUMENTS.set(one.ident, one);
  const now = () => siteNow(payload.time_zone);
  const store = openStore(payload.site, now);
  store.setAsideLeftOver();
  const page = { fields: payloadOf("entry-fields"), store, change: store.change };
  const dayNow = () => dayOfWalk(payload, store.unsent, now().slice(0, 10));
  const heading = make("h1", {});
  const notices = make("aside", { "aria-label": "Notices" });
  const main = make("main", {});
  const nav = make("nav", { "aria-label": "Parts of the page" });
  document.body.append(
    make(
      "header",
      {},
      make("p", {}, `${payload.site} · pocket page`),
      heading,
    ),
    notices,
    main,
    nav,
  );
  const mount = () => {
    page.round = roundOn(payload, dayNow(), store);
    page.found = null;
    setText(heading, `Walk of ${page.round.day}`);
    // Listeners of parts that are gone would keep them alive and answer for them.
    store.forgetParts();
    notices.replaceChildren(...noticesOf(page, now().slice(0, 10)), ...earlierVisits(page));
    mountViews(page, main, nav);
  };
  store.listen((what) => {
    // What another tab changed is shown where this one is.
    if (what === "overtaken") page.leave();
    if (what !== "changed") mount();
  });
  // The page itself knows where it was left.
  history.scrollRestoration = "manual";
  mount();
  main.addEventListener("toggle", () => page.leave(), { capture: true });
  window.addEventListener("pagehide", () => page.leave());
  // A page left open overnight begins the new day as one opened then.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") {
      page.leave();
      return;
    }
    store.setAsideLeftOver();
    if (dayNow() !== page.round.day) mount();
  });
  unfoldForPrint();
}

function noticesOf({ round, store }, today) {
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
  store.listenAsPart(checkKeeping);
  checkKeeping();
  const notices = [keeping];
  const notice = (words) => notices.push(make("p", { class: "caution" }, words));
  if (!knowsZone(round.time_zone)) {
    notice(
      `This phone does not know the time zone ${round.time_zone}: check the time under Visit.`,
    );
  }
  const age = ageWords(round, today);
  if (age) notice(age);
  return notices;
}

/* Visits left on an earlier day, each to be finished or discarded. */
function earlierVisits(page) {
  return page.store.earlier.map(card);

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
}

function mountViews(page, main, nav) {
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
    // What is tall begins at the top.
    place.scrollIntoView({ block: place.offsetHeight > innerHeight / 2 ? "start" : "center" });
    place.querySelector("input, select, textarea, button")?.focus({ preventScroll: true });
  }

  page.taps = new Map();
  const findings = extraCards(page, "finding");
  page.goTo = goTo;
  page.addFinding = (machine, point = "", text = "") => {
    show("findings");
    findings.add({ machine, point, text, urgency: "soon", failed: false, tied: false, stopped: "" });
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
    const handed = page.store.unsent.handedAs ? "handed over" : `${entries} not sent`;
    setText(tabs.visit, entries ? `${VIEWS.visit.tab}: ${handed}` : VIEWS.visit.tab);
    tabs.visit.classList.toggle("unsent", entries > 0 && !page.store.unsent.handedAs);
  };
  page.store.listenAsPart(countEntries);
  countEntries();
  show("walk", false);
  resume();
  page.leave = () => {
    const open = [...main.querySelectorAll("details[data-key][open]")].map(({ dataset }) => dataset.key);
    page.store.leave({ day: page.round.day, view: shownName, open, y: window.scrollY });
  };

  /* Go on where the page was left today. */
  function resume() {
    const left = page.store.left();
    if (left?.day !== page.round.day || !(left.view in VIEWS)) return;
    for (const part of main.querySelectorAll("details[data-key]")) {
      part.open = left.open.includes(part.dataset.key);
    }
    show(left.view, false);
    window.scrollTo(0, left.y);
  }
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
      let key = "";
      page.change(({ extras }) => {
        const keys = extras.map((extra) => Number(extra.key.split(" ")[1]));
        key = `extra ${Math.max(0, ...keys) + 1}`;
        extras.push({ key, what, machine: "", point: "", note: "", ...fields });
      });
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
