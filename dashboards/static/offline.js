/* Keeps wears and thumb checks that were logged without a network; sends each once when there is one. */
"use strict";
(() => {
  const { say } = window.solespan;
  const STORE = "wears";
  let sending = false;
  let wanted = false;

  function opened() {
    return new Promise((resolve, reject) => {
      const asked = indexedDB.open("solespan", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "key" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
  }

  async function inStore(mode, work) {
    const database = await opened();
    try {
      return await new Promise((resolve, reject) => {
        const change = database.transaction(STORE, mode);
        const asked = work(change.objectStore(STORE));
        change.oncomplete = () => resolve(asked.result);
        change.onerror = () => reject(change.error);
      });
    } finally { database.close(); }
  }

  const waiting = () => inStore("readonly", (store) => store.getAll());

  /* Whose wears these are: one phone may serve several people, and each sends only their own. */
  const account = () => document.body.dataset.account;
  const mine = (one) => [null, account()].includes(new URLSearchParams(one.body).get("account"));

  /* The calendar day on this device, or the one before: the page at hand may be days old. */
  function dayOf(word) {
    const now = new Date();
    if (word === "yesterday") now.setDate(now.getDate() - 1);
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  }

  /* A word for what waits: wears, checks, or both. */
  function noun(some) {
    const kinds = new Set(some.map((one) => one.kind || "wear"));
    return kinds.size === 1 ? [...kinds][0] : "record";
  }

  function label(submitter, form) {
    if (form.elements.pair?.selectedOptions) return form.elements.pair.selectedOptions[0]?.textContent || "";
    const words = submitter?.getAttribute("aria-label")?.replace(/^Worn[^:]*: /, "");
    return words || form.dataset.offline || document.querySelector(".wear a")?.textContent || "";
  }

  async function keep(form, attempt, submitter) {
    const body = new URLSearchParams(attempt.body);
    const kind = form.dataset.waits || "wear";
    const day = kind === "wear" ? "worn_on" : "checked_on";
    const before = body.get("day") === "yesterday";
    if (!body.get(day)) body.set(day, dayOf(body.get("day")));
    body.delete("form_token");
    const same = (await waiting()).find((one) => one.body === body.toString());
    if (!same) {
      await inStore("readwrite", (store) => store.put({
        key: attempt.key, body: body.toString(), at: Date.now(), kind, path: form.getAttribute("action"),
        label: label(submitter, form) + (before ? ` on ${body.get("worn_on")}` : ""),
      }));
    }
    await show();
    say(`No network: the ${kind} is saved on this device. It sends itself later.`);
  }

  async function show() {
    const every = account() ? await waiting() : [];
    const note = document.getElementById("waiting");
    note.hidden = !every.length;
    note.querySelector("[data-drop]").hidden = !every.some((one) => mine(one) && one.refused);
    const own = every.filter(mine);
    const others = every.length - own.length;
    const said = [];
    if (own.length) said.push(`${own.length} ${noun(own)}${own.length === 1 ? " waits" : "s wait"} on this device to be sent: ${own.map((one) => `${one.label || "a pair"}${one.refused ? ` (refused: ${one.why || "open the pair"})` : ""}`).join(", ")}.`);
    if (others) said.push(`${others} ${noun(every.filter((one) => !mine(one)))}${others === 1 ? "" : "s"} of another account ${others === 1 ? "waits" : "wait"} here until that one signs in.`);
    note.querySelector("p").textContent = said.join(" ");
    note.querySelector("[data-send]").hidden = !own.length;
  }

  async function post(one) {
    const body = new URLSearchParams(one.body);
    body.set("form_token", document.querySelector("[name=form_token]")?.value || "");
    return fetch(one.path || "/wear", {
      method: "POST",
      body,
      headers: { "idempotency-key": `"${one.key}"`, accept: "text/html" },
    });
  }

  /* What a page of ours says of a refusal, in one line. */
  async function whyOf(answer) {
    const page = window.solespan.parse(await answer.text());
    const said = page.querySelector("[role=alert], main .none p");
    return (said?.textContent || "").trim().replace(/\.$/, "");
  }

  async function sendAll() {
    const sent = [];
    for (const one of (await waiting()).filter(mine).sort((a, b) => a.at - b.at)) {
      const answer = await post(one);
      const where = new URL(answer.url);
      if (answer.ok && where.searchParams.has("done")) {
        await inStore("readwrite", (store) => store.delete(one.key));
        sent.push(one);
      } else if ([404, 422].includes(answer.status)) {
        const why = await whyOf(answer);
        await inStore("readwrite", (store) => store.put({ ...one, refused: true, why }));
      }
    }
    return sent;
  }

  /* Asked while an attempt is under way, tries once more after it: that one may have begun too early. */
  async function flush() {
    if (!account() || !document.querySelector("[name=form_token]")) return;
    wanted = true;
    if (sending) return;
    sending = true;
    while (wanted) {
      wanted = false;
      try {
        const sent = await sendAll();
        const count = sent.length;
        if (count) say(`The ${count === 1 ? "" : `${count} `}${noun(sent)}${count === 1 ? "" : "s"} saved on this device ${count === 1 ? "is" : "are"} logged now.`);
      } catch { /* still no network: they stay */ }
    }
    sending = false;
    await show();
  }

  window.solespan.keep = keep;
  async function dropRefused() {
    for (const one of (await waiting()).filter((each) => mine(each) && each.refused)) {
      await inStore("readwrite", (store) => store.delete(one.key));
    }
    await show();
  }

  document.querySelector("#waiting [data-send]").addEventListener("click", flush);
  document.querySelector("#waiting [data-drop]").addEventListener("click", dropRefused);
  addEventListener("online", flush);
  document.addEventListener("submit", (event) => {
    if (event.target.matches("form[data-forget]")) navigator.serviceWorker?.controller?.postMessage("forget");
  });
  /* A kept copy of the thumb form is of no pair: the address names it. */
  const asked = document.querySelector("form[data-waits=check] [name=pair]");
  const named = new URLSearchParams(location.search).get("pair");
  if (asked && named && [...asked.options].some((one) => one.value === named)) asked.value = named;
  show().then(flush);
  if ("serviceWorker" in navigator && isSecureContext) navigator.serviceWorker.register("/sw.js");
})();
