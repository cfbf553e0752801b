/* Passkeys: form[data-passkey] asks for a question, lets the device answer it, and sends the answer. */
"use strict";
(() => {
  if (!window.PublicKeyCredential) return;
  const SAID = {
    InvalidStateError: "This device has a passkey of yours already.",
    NotAllowedError: "It was cancelled, or took too long. Try again.",
    SecurityError: "Passkeys of this service do not work at this address.",
  };

  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (one) => one.charCodeAt(0));
  const named = (list) => (list || []).map((one) => ({ ...one, id: bytes(one.id) }));

  function text(buffer) {
    const whole = Array.from(new Uint8Array(buffer), (one) => String.fromCharCode(one)).join("");
    return btoa(whole).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  }

  async function questionOf(form) {
    const answer = await fetch(`${form.getAttribute("action")}/question`, {
      method: "POST",
      body: new URLSearchParams(new FormData(form)),
      headers: { accept: "application/json" },
    });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.problem || said.detail || said.title);
    const asked = { ...said, challenge: bytes(said.challenge) };
    if (said.user) asked.user = { ...said.user, id: bytes(said.user.id) };
    asked.excludeCredentials = named(said.excludeCredentials);
    asked.allowCredentials = named(said.allowCredentials);
    return asked;
  }

  async function answerOf(form) {
    const publicKey = await questionOf(form);
    const made = await navigator.credentials[form.dataset.passkey]({ publicKey });
    const response = {};
    for (const part of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
      if (made.response[part]) response[part] = text(made.response[part]);
    }
    return JSON.stringify({ id: made.id, rawId: text(made.rawId), type: made.type, response });
  }

  async function send(form) {
    const problem = form.querySelector("[role=alert]");
    const button = form.querySelector("button");
    problem.hidden = true;
    button.disabled = true;
    try {
      form.elements.credential.value = await answerOf(form);
      if (form.elements.password) form.elements.password.disabled = true;
      form.submit();
    } catch (failure) {
      const words = failure instanceof DOMException ? SAID[failure.name] : failure.message;
      problem.textContent = words || "This did not work. Try again.";
      problem.hidden = false;
      button.disabled = false;
    }
  }

  document.querySelectorAll("form[data-passkey]").forEach((form) => {
    form.addEventListener("submit", (event) => { event.preventDefault(); send(form); });
  });
  document.querySelectorAll("[data-passkeys]").forEach((part) => { part.hidden = false; });
})();
