/* Unsent work, kept in the phone's own storage under the site's name.

Every change is saved at once, and a copy goes into the storage of this tab: a browser under load may
open a reloaded page on storage that lacks the latest changes and keeps no further ones. The copy has
them, and the page says that they are not kept. Work left on an earlier day is set aside whole, so
that the walk of a new day never adds to it. Where the phone refuses to keep it, the page says so and
asks before it is left. Another tab with the same page hands its changes over, and what it saved is
taken over before this one changes anything. `now()` is the site's time. */

function openStore(site, now) {
  const places = {
    work: `round ${site} work`,
    person: `round ${site} person`,
    earlier: `round ${site} earlier`,
    done: `round ${site} done`,
    tied: `round ${site} tied`,
  };
  /* Counts the changes saved, so that the later of the two copies is known. */
  const countPlace = `round ${site} changes`;
  const leftPlace = `round ${site} left`;
  let changes = 0;
  let lacksChanges = false;
  const listeners = [];
  let partListeners = [];
  const store = {
    keeps: true,
    /* Counts what was told, so that what follows from the work is found once a change. */
    revision: 0,
    tell,
    unsent: emptyWork(),
    person: "",
    /* Visits of earlier days, each {by, unsent}. */
    earlier: [],
    /* By work key the day on which a visit that was handed over says that it was done. */
    done: {},
    /* Machines that such visits tied back, each {machine, day, why}. */
    tied: [],
    /* Change the unsent work by a function of it, save, and tell everyone. */
    change(alter) {
      const isNew = catchUp();
      alter(store.unsent);
      touch();
      saveWork();
      tell(isNew ? "overtaken" : "changed");
    },
    /* Keep a row of taps as it grows, or forget it. Nobody needs to know of each tap: who opened
       the tachometer tells everyone when it closes. */
    keepRow(key, row) {
      const isNew = catchUp();
      if (!row && !(key in store.unsent.rows)) return;
      if (row) store.unsent.rows[key] = row;
      else delete store.unsent.rows[key];
      touch();
      saveWork();
      if (isNew) tell("overtaken");
    },
    markHandedOver(name, keys) {
      store.unsent.handedAs = name;
      store.unsent.handedKeys = keys;
      saveWork();
      tell();
    },
    /* The host's page for it was opened; what became of it there is not known. */
    markOpened() {
      store.unsent.isOpened = true;
      saveWork();
      tell();
    },
    choosePerson(ident) {
      store.person = ident;
      save(places.person, ident);
      tell();
    },
    clear() {
      noteDone();
      store.unsent = emptyWork();
      saveWork();
      tell("replaced");
    },
    /* Put work of an earlier day out of the way of today's. */
    setAsideLeftOver() {
      if (!isLeftOver(store.unsent, now())) return;
      setAside();
      store.clear();
    },
    /* Carry on with a visit that was set aside; what is at hand takes its place there. */
    takeUp(visit) {
      setAside();
      store.person = visit.by;
      save(places.person, visit.by);
      store.unsent = { ...visit.unsent, touched: now() };
      // Kept twice for a moment: a phone that dies in between loses nothing.
      saveWork();
      dropEarlier(visit);
      tell("replaced");
    },
    discardEarlier(visit) {
      dropEarlier(visit);
      tell("replaced");
    },
    /* Where the page was left, and `null` where that is not known. */
    left() {
      try {
        return JSON.parse(localStorage.getItem(leftPlace));
      } catch {
        return null;
      }
    },
    leave(where) {
      try {
        localStorage.setItem(leftPlace, JSON.stringify(where));
      } catch {
        // Where it was left is a convenience.
      }
    },
    /* For as long as the page is open. */
    listen(listener) {
      listeners.push(listener);
    },
    /* For as long as the views stand; they are built anew when the work is replaced. */
    listenAsPart(listener) {
      partListeners.push(listener);
    },
    forgetParts() {
      partListeners = [];
    },
  };

  function touch() {
    store.unsent.begun ||= now();
    store.unsent.touched = now();
    store.unsent.handedAs = "";
    store.unsent.isOpened = false;
  }

  function tell(what = "changed") {
    store.revision += 1;
    if (what === "changed") partListeners.forEach((listener) => listener());
    listeners.forEach((listener) => listener(what));
  }

  /* What was handed over counts as done from here on, whether or not it arrived. */
  function noteDone() {
    const { handedAs, handedKeys, begun, extras } = store.unsent;
    if (!handedAs) return;
    const day = begun.slice(0, 10);
    for (const key of handedKeys) store.done[key] = day;
    for (const { tied, machine, text } of extras) {
      if (tied) store.tied.push({ machine, day, why: text });
    }
    save(places.done, JSON.stringify(store.done));
    save(places.tied, JSON.stringify(store.tied));
  }

  function setAside() {
    if (!holdsWork(store.unsent)) return;
    store.earlier.push({ by: store.person, unsent: store.unsent });
    save(places.earlier, JSON.stringify(store.earlier));
  }

  function dropEarlier(visit) {
    store.earlier = store.earlier.filter((one) => one !== visit);
    save(places.earlier, JSON.stringify(store.earlier));
  }

  function saveWork() {
    save(places.work, JSON.stringify(store.unsent));
  }

  function save(place, text) {
    try {
      changes = 1 + Math.max(changes, countIn(localStorage));
      put(sessionStorage, place, text);
      put(localStorage, place, text);
      store.keeps = !lacksChanges;
    } catch {
      store.keeps = false;
    }
  }

  function put(storage, place, text) {
    storage.setItem(place, text);
    storage.setItem(countPlace, String(changes));
  }

  function countIn(storage) {
    return Number(storage.getItem(countPlace) ?? 0);
  }

  /* Take from this tab's copy what the phone's storage lacks. */
  function fetchFromCopy() {
    changes = countIn(sessionStorage);
    lacksChanges = changes > countIn(localStorage);
    if (!lacksChanges) return;
    for (const place of Object.values(places)) {
      const text = sessionStorage.getItem(place);
      if (text !== null) save(place, text);
    }
  }

  /* What is kept at a place, or `empty`. What cannot be read is never overwritten: whoever looks
     after the phone can still find it there. */
  function kept(place, parse, empty) {
    const text = localStorage.getItem(place);
    if (text === null) return empty;
    try {
      return parse(text);
    } catch {
      save(`${place} unreadable ${Date.now()}`, text);
      return empty;
    }
  }

  function read() {
    try {
      store.person = localStorage.getItem(places.person) ?? "";
      store.unsent = kept(places.work, workFromText, emptyWork());
      store.earlier = kept(places.earlier, earlierFromText, []);
      store.done = kept(places.done, (text) => ({ ...JSON.parse(text) }), {});
      store.tied = kept(places.tied, (text) => [...JSON.parse(text)], []);
    } catch {
      store.keeps = false;
    }
  }

  /* Whether another tab saved what this one has not been told of. */
  function catchUp() {
    try {
      const count = countIn(localStorage);
      if (count <= changes) return false;
      changes = count;
    } catch {
      return false;
    }
    read();
    return true;
  }

  window.addEventListener("storage", (event) => {
    if (event.key === countPlace) changes = Math.max(changes, Number(event.newValue));
    if (Object.values(places).includes(event.key)) {
      read();
      tell("overtaken");
    }
  });
  window.addEventListener("beforeunload", (event) => {
    if (!store.keeps) event.preventDefault();
  });
  try {
    fetchFromCopy();
  } catch {
    store.keeps = false;
  }
  read();
  // Whether the phone keeps anything is said before the work begins, not after it.
  save(places.person, store.person);
  return store;
}
