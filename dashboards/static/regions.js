/* Puts parts of a page of ours into the page at hand: regions that load when near, and answers. */
"use strict";
(() => {
  const said = () => document.getElementById("said");

  function say(words) {
    const status = said();
    status.textContent = "";
    status.textContent = words;
  }

  /* Replaces each region (by id) by the one in `fresh`; returns how many there were. */
  function swap(fresh, ids) {
    let count = 0;
    for (const id of ids) {
      const old = document.getElementById(id);
      const next = fresh.getElementById(id);
      if (!old || !next) continue;
      old.replaceWith(document.adoptNode(next));
      count += 1;
      document.dispatchEvent(new CustomEvent("solespan:fresh", { detail: next }));
    }
    return count;
  }

  function parse(text) {
    return new DOMParser().parseFromString(text, "text/html");
  }

  async function load(region) {
    try {
      const answer = await fetch(region.dataset.load, { headers: { accept: "text/html" } });
      if (answer.ok && !answer.redirected) swap(parse(await answer.text()), [region.id]);
    } catch { /* the link in the region stays */ }
  }

  function watch(root) {
    const waiting = [...root.querySelectorAll("[data-load]")];
    const near = new IntersectionObserver((entries) => {
      for (const entry of entries.filter((e) => e.isIntersecting)) {
        near.unobserve(entry.target);
        load(entry.target);
      }
    }, { rootMargin: "400px" });
    waiting.forEach((region) => near.observe(region));
  }

  window.solespan = { say, swap, parse };
  document.addEventListener("solespan:fresh", (event) => watch(event.detail));
  watch(document);
})();
