/* Filters the list of pairs while one types: the server searches, and only the list changes. */
"use strict";
(() => {
  const PAUSE_MS = 200;
  let waiting = 0;
  let newest = 0;

  async function search(form) {
    newest += 1;
    const mine = newest;
    try {
      const answer = await fetch("/find", {
        method: "POST",
        body: new URLSearchParams(new FormData(form)),
        headers: { accept: "text/html" },
      });
      const fresh = window.solespan.parse(await answer.text());
      if (!answer.ok || mine !== newest || !fresh.getElementById("pairs")) return;
      window.solespan.swap(fresh, ["pairs", "summary"]);
      history.replaceState(null, "", answer.url);
      window.solespan.say(fresh.getElementById("summary").textContent);
    } catch { /* the button still searches */ }
  }

  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[role=search]");
    if (!form) return;
    clearTimeout(waiting);
    waiting = setTimeout(search, PAUSE_MS, form);
  });
})();
