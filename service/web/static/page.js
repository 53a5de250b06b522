"use strict";
// Renews the page where it stands: no jump, no flash, and never while somebody is choosing or writing.
(() => {
  const main = () => document.querySelector("main");
  const seconds = Number(main().dataset.refresh);
  const busy = () => document.hidden || document.querySelector("form:focus-within, form input:checked, details[open]") !== null;

  async function renew() {
    if (busy()) return;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (!answer.ok) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const next = fresh.querySelector("main");
      if (!next || busy()) return;
      main().replaceWith(document.adoptNode(next));
      document.dispatchEvent(new Event("renewed"));
    } catch {
      // The line is down: the page keeps what it has, with the time it was written.
    }
  }

  if (seconds > 0) {
    setInterval(renew, seconds * 1000);
    document.addEventListener("visibilitychange", renew);
  }
})();
