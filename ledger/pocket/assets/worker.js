/* Where the page came from a server, the phone keeps it for when that cannot be reached: the script
beside the page does so. The address is fixed, and the policy makes no other. */

if ("serviceWorker" in navigator) {
  const make = { createScriptURL: () => "sw.js" };
  const address = window.trustedTypes?.createPolicy("own-worker", make).createScriptURL("");
  // Without it the page is one that has to be reached.
  navigator.serviceWorker.register(address ?? "sw.js").catch(() => {});
}
