/* The month grid of form[data-grid]: arrow keys move, the button counts what is not saved yet. */
"use strict";
(() => {
  const form = () => document.querySelector("form[data-grid]");
  const boxes = (root) => [...root.querySelectorAll("[name=worn]")];
  const dayOf = (box) => Number(box.value.split(".")[1]);
  let sent = false;

  /* How many boxes differ from what was logged when the page was made. */
  function unsaved(grid) {
    let count = 0;
    for (const row of grid.querySelectorAll("tbody tr")) {
      const seen = row.querySelector("[name=seen]").value.split("-").filter(Boolean);
      const days = new Set(seen.map((one) => Number(one.split(".")[0])));
      count += boxes(row).filter((box) => box.checked !== days.has(dayOf(box))).length;
    }
    return count;
  }

  function count(grid) {
    const many = unsaved(grid);
    grid.querySelector(".save button").textContent = many ? `Save ${many} ${many === 1 ? "change" : "changes"}` : "Save";
  }

  /* One stop for the Tab key: the box that was used last. */
  function stopAt(grid, box) {
    for (const other of boxes(grid)) other.tabIndex = other === box ? 0 : -1;
  }

  function go(grid, box) {
    if (!box) return;
    const week = [...box.closest("td").classList].find((name) => /^w\d$/.test(name)).slice(1);
    const radio = grid.querySelector(`[name=week][value="${week}"]`);
    if (!box.checkVisibility()) radio.checked = true;
    stopAt(grid, box);
    box.focus();
  }

  function target(box, key) {
    const row = box.closest("tr");
    const inRow = boxes(row);
    const at = inRow.indexOf(box);
    if (key === "ArrowRight") return inRow[at + 1];
    if (key === "ArrowLeft") return inRow[at - 1];
    if (key === "Home") return inRow[0];
    if (key === "End") return inRow[inRow.length - 1];
    const next = key === "ArrowDown" ? "nextElementSibling" : "previousElementSibling";
    for (let other = row[next]; other; other = other[next]) {
      const same = boxes(other).find((one) => dayOf(one) === dayOf(box));
      if (same) return same;
    }
    return undefined;
  }

  function begin() {
    const grid = form();
    if (!grid || grid.dataset.begun) return;
    grid.dataset.begun = "yes";
    document.querySelector("#month .keys").hidden = false;
    const shown = boxes(grid).filter((box) => box.checkVisibility());
    stopAt(grid, shown.find((box) => box.closest(".now")) || shown[0] || boxes(grid)[0]);
    count(grid);
  }

  document.addEventListener("keydown", (event) => {
    const box = event.target;
    if (!box.matches?.("form[data-grid] [name=worn]") || event.altKey || event.ctrlKey || event.metaKey) return;
    if (!/^(Arrow(Left|Right|Up|Down)|Home|End)$/.test(event.key)) return;
    event.preventDefault();
    go(box.form, target(box, event.key));
  });
  document.addEventListener("change", (event) => {
    const grid = event.target.closest("form[data-grid]");
    if (!grid) return;
    if (event.target.name === "worn") stopAt(grid, event.target);
    if (event.target.name === "week") stopAt(grid, boxes(grid).find((box) => box.checkVisibility()));
    count(grid);
  });
  document.addEventListener("submit", (event) => { sent = event.target.matches("form[data-grid]") && !event.defaultPrevented; });
  addEventListener("beforeunload", (event) => { if (!sent && form() && unsaved(form())) event.preventDefault(); });
  document.addEventListener("solespan:fresh", () => { sent = false; begin(); });
  begin();
})();
