/* What the device brings: files, a ZIP or a folder dropped on the page of form[data-drop]; its time zone. */
"use strict";
(() => {
  const form = document.querySelector("form[data-drop]");
  const zone = document.querySelector("input[name=time_zone]");
  if (zone && zone.value === "UTC") zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC";
  if (!form) return;
  const input = form.querySelector("input[type=file]");
  form.querySelector("[data-drop-hint]").hidden = false;

  const wanted = (name) => /\.(csv|zip)$/i.test(name);

  async function filesIn(entry) {
    if (entry.isFile) return [await new Promise((done, failed) => { entry.file(done, failed); })];
    const reader = entry.createReader();
    const found = [];
    for (;;) {
      const some = await new Promise((done, failed) => { reader.readEntries(done, failed); });
      if (!some.length) return found;
      for (const one of some) found.push(...(await filesIn(one)));
    }
  }

  addEventListener("dragover", (event) => { event.preventDefault(); form.classList.add("over"); });
  addEventListener("dragleave", (event) => { if (!event.relatedTarget) form.classList.remove("over"); });
  addEventListener("drop", async (event) => {
    event.preventDefault();
    form.classList.remove("over");
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry()).filter(Boolean);
    const found = entries.length ? [] : [...event.dataTransfer.files];
    for (const entry of entries) found.push(...(await filesIn(entry)));
    const taken = new DataTransfer();
    found.filter((file) => wanted(file.name)).forEach((file) => taken.items.add(file));
    if (!taken.files.length) {
      window.solespan.say("None of the dropped files is a CSV file or a ZIP.");
      return;
    }
    input.files = taken.files;
    form.requestSubmit();
  });
})();
