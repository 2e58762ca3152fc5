/* Puts the page together: who, the views, and what they share. */

const VIEWS = { walk: "Walk", findings: "Findings", readings: "Readings", visit: "Visit" };

function payloadOf(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

function startPage() {
  const round = payloadOf("round-payload");
  const store = openStore(round.site);
  // Someone who has left the site since cannot be picked, and must not sign by being remembered.
  if (!round.people.some((person) => person.ident === store.person)) store.person = "";
  const page = {
    round,
    fields: payloadOf("entry-fields"),
    store,
    change: (alter) => store.change(alter, siteNow(round.time_zone)),
  };
  const main = make("main", {});
  const nav = make("nav", { "aria-label": "Parts of the round" });
  document.body.append(
    make("header", {}, make("h1", {}, round.site), make("p", {}, `Walk of ${round.as_of}`)),
    make("aside", { "aria-label": "Notices" }, ...noticesOf(page)),
    main,
    nav,
  );
  const mount = () => mountViews(page, main, nav);
  store.listen((what) => {
    if (what === "replaced") mount();
  });
  mount();
  unfoldForPrint();
}

function noticesOf(page) {
  const { round, store } = page;
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
  if (!knowsZone(round.time_zone)) {
    notices.push(
      make(
        "p",
        { class: "caution" },
        `This phone does not know the time zone ${round.time_zone}: check the time under Visit.`,
      ),
    );
  }
  const today = siteNow(round.time_zone).slice(0, 10);
  if (today !== round.as_of) {
    notices.push(
      make(
        "p",
        { class: "caution" },
        `Today is ${today}: this walk was made for ${round.as_of}. A fresh page knows more.`,
      ),
    );
  }
  return notices;
}

function mountViews(page, main, nav) {
  // Listeners of parts that are gone would keep them alive and answer for them.
  page.store.forgetParts();
  const views = {};
  const tabs = {};

  function show(name, focus = true) {
    for (const key of Object.keys(VIEWS)) {
      views[key].hidden = key !== name;
      if (key === name) tabs[key].setAttribute("aria-current", "page");
      else tabs[key].removeAttribute("aria-current");
    }
    if (focus) {
      window.scrollTo(0, 0);
      views[name].querySelector("h2").focus({ preventScroll: true });
    }
  }

  function goTo(problem) {
    show(problem.view);
    const place =
      problem.key && views[problem.view].querySelector(`[data-key="${CSS.escape(problem.key)}"]`);
    if (!place) return;
    for (let above = place; above; above = above.parentElement) {
      if (above.tagName === "DETAILS") above.open = true;
    }
    place.scrollIntoView({ block: "center" });
    place.querySelector("input, select, textarea, button")?.focus();
  }

  const contents = {
    walk: () => walkView(page),
    findings: () => findingsView(page),
    readings: () => readingsView(page),
    visit: () => visitView(page, goTo),
  };
  for (const [name, words] of Object.entries(VIEWS)) {
    views[name] = make(
      "section",
      { id: name },
      make("h2", { tabindex: "-1" }, words),
      ...contents[name](),
    );
    tabs[name] = button(words, () => show(name));
  }
  main.replaceChildren(...Object.values(views));
  nav.replaceChildren(...Object.values(tabs));
  const countEntries = () => {
    const { visit } = visitOf(page.store.unsent, page.store.person, page.round, page.fields);
    setText(
      tabs.visit,
      visit.entries.length ? `${VIEWS.visit} (${visit.entries.length})` : VIEWS.visit,
    );
  };
  page.store.listenAsPart(countEntries);
  countEntries();
  show("walk", false);
}

function findingsView(page) {
  const cards = extraCards(page, "finding");
  return [
    button(
      "New finding",
      () => cards.add({ text: "", urgency: "soon", failed: false, stopped: "" }),
      { class: "main" },
    ),
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
      card.querySelector("select").focus();
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
