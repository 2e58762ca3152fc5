/* Unsent work, kept in the phone's own storage under the site's name.

Every change is saved at once. Where the phone refuses to keep it, the page says so and asks
before it is left. Another tab with the same page hands its changes over. */

function openStore(site) {
  const workPlace = `round ${site} work`;
  const personPlace = `round ${site} person`;
  const listeners = [];
  let partListeners = [];
  const store = {
    keeps: true,
    unsent: emptyWork(),
    person: "",
    /* Change the unsent work by a function of it, save, and tell everyone. */
    change(alter, now) {
      alter(store.unsent);
      if (!store.unsent.begun && now) store.unsent.begun = now;
      save(workPlace, JSON.stringify(store.unsent));
      tell();
    },
    choosePerson(ident) {
      store.person = ident;
      save(personPlace, ident);
      tell();
    },
    clear() {
      store.unsent = emptyWork();
      save(workPlace, JSON.stringify(store.unsent));
      tell("replaced");
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

  function tell(what = "changed") {
    if (what === "changed") partListeners.forEach((listener) => listener());
    listeners.forEach((listener) => listener(what));
  }

  function save(place, text) {
    try {
      localStorage.setItem(place, text);
      store.keeps = true;
    } catch {
      store.keeps = false;
    }
  }

  function read() {
    try {
      store.person = localStorage.getItem(personPlace) ?? "";
      const kept = localStorage.getItem(workPlace) ?? "{}";
      try {
        store.unsent = { ...emptyWork(), ...JSON.parse(kept) };
      } catch {
        // Never overwritten: whoever looks after the phone can still read it there.
        localStorage.setItem(`${workPlace} unreadable ${Date.now()}`, kept);
      }
    } catch {
      store.keeps = false;
    }
  }

  window.addEventListener("storage", (event) => {
    if (event.key === workPlace || event.key === personPlace) {
      read();
      tell("replaced");
    }
  });
  window.addEventListener("beforeunload", (event) => {
    if (!store.keeps) event.preventDefault();
  });
  read();
  return store;
}
