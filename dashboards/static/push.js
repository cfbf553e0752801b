/* Lets this browser take push messages (W3C Push API): its service and keys go into the form. */
"use strict";
(() => {
  const form = document.getElementById("push");
  if (!form || !isSecureContext || !("serviceWorker" in navigator) || !("PushManager" in window)) return;
  form.hidden = false;
  document.getElementById("push-missing").hidden = true;

  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (letter) => letter.charCodeAt(0));

  async function subscribe() {
    if ((await Notification.requestPermission()) !== "granted") {
      window.solespan.say("This browser does not allow messages. Change it in its settings.");
      return;
    }
    const worker = await navigator.serviceWorker.ready;
    const given = (await worker.pushManager.subscribe({
      userVisibleOnly: true,
      applicationServerKey: bytes(form.dataset.key),
    })).toJSON();
    form.elements.endpoint.value = given.endpoint;
    form.elements.p256dh.value = given.keys.p256dh;
    form.elements.auth.value = given.keys.auth;
    form.submit();
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    subscribe().catch(() => window.solespan.say("This browser cannot take push messages here."));
  });
})();
