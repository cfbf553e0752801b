/* Sends forms without leaving the page: form[data-partial="ids"] changes only those regions. */
"use strict";
(() => {
  const WAITS_MS = [0, 1000, 3000];
  const { say, swap, parse } = window.solespan;
  const attempts = new WeakMap();

  const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

  /* Without TLS a browser gives no randomUUID, but random numbers still. */
  const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

  /* One key for one content of a form: pressing again after a lost answer repeats nothing. */
  function attemptOf(form, body) {
    const last = attempts.get(form);
    if (last && last.body === body) return last;
    const attempt = { body, key: newKey() };
    attempts.set(form, attempt);
    return attempt;
  }

  async function send(form, attempt) {
    // A field may be called like a property of the form, so only attributes tell.
    const action = form.getAttribute("action");
    const post = form.getAttribute("method") === "post";
    const address = post ? action : `${action.split("?")[0]}?${attempt.body}`;
    const options = post
      ? {
          method: "POST",
          body: attempt.body,
          headers: {
            "content-type": "application/x-www-form-urlencoded",
            "idempotency-key": `"${attempt.key}"`,
            accept: "text/html",
          },
        }
      : { headers: { accept: "text/html" } };
    for (const [number, wait] of WAITS_MS.entries()) {
      await pause(wait);
      try {
        const answer = await fetch(address, options);
        const again = answer.status >= 500 || answer.status === 409;
        if (!again || number + 1 === WAITS_MS.length) return answer;
      } catch {
        if (form.dataset.offline !== undefined) return null;
      }
      if (number + 1 < WAITS_MS.length) say("No answer yet; trying again.");
    }
    return null;
  }

  function focusAfter(form, answer, regionIds, focused) {
    const wrong = document.querySelector("[aria-invalid]");
    const asked = regionIds.map((id) => document.querySelector(`#${id} [data-focus], #${id}[data-focus]`)).find(Boolean);
    if (answer.status === 422 && wrong) {
      (wrong.matches("fieldset") ? wrong.querySelector("input") : wrong).focus();
    } else if (asked) {
      asked.focus();
    } else if (!document.contains(focused) || document.activeElement === document.body) {
      const first = document.getElementById("logged-first") || document.getElementById("main");
      first.focus({ preventScroll: first.id !== "main" });
    }
  }

  async function submit(form, submitter) {
    const data = new FormData(form, submitter);
    const attempt = attemptOf(form, new URLSearchParams(data).toString());
    const ids = form.dataset.partial.split(" ");
    const focused = document.activeElement;
    form.setAttribute("aria-busy", "true");
    const answer = await send(form, attempt);
    form.removeAttribute("aria-busy");
    if (!answer) {
      if (form.dataset.offline !== undefined && window.solespan.keep) {
        await window.solespan.keep(form, attempt, submitter);
      } else {
        say("No connection. Nothing is lost: press again when there is one.");
      }
      return;
    }
    if (!answer.ok && answer.status !== 422) { form.removeAttribute("data-partial"); form.requestSubmit(submitter); return; }
    const fresh = parse(await answer.text());
    if (!swap(fresh, ids)) { location.assign(answer.url); return; }
    if (answer.ok) attempts.delete(form);
    if (answer.ok && form.getAttribute("method") !== "post") history.pushState(null, "", answer.url);
    const alert = ids.map((id) => document.querySelector(`#${id} [role=alert]`)).find(Boolean);
    say(fresh.getElementById("said")?.textContent || alert?.textContent || "");
    focusAfter(form, answer, ids, focused);
  }

  addEventListener("popstate", () => location.reload());
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-partial]") || event.defaultPrevented) return;
    event.preventDefault();
    if (!form.hasAttribute("aria-busy")) submit(form, event.submitter);
  });
})();
