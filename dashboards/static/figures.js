/* Figures stand drawn in the page. The library comes when somebody reads values off, or near a figure that is not drawn. */
"use strict";
(() => {
  const script = document.currentScript;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const config = { displayModeBar: false, responsive: true, doubleClick: false, scrollZoom: false };
  let library = null;

  function loadLibrary() {
    if (window.Plotly) return Promise.resolve();
    library ??= new Promise((resolve, reject) => {
      const tag = document.createElement("script");
      tag.src = script.dataset.library;
      tag.onload = resolve;
      tag.onerror = () => { library = null; reject(new Error("library")); };
      document.head.append(tag);
    });
    return library;
  }

  async function read(chart) {
    if (chart.dataset.figureInline) {
      return JSON.parse(document.getElementById(chart.dataset.figureInline).textContent);
    }
    const answer = await fetch(chart.dataset.figureSrc, { headers: { accept: "application/json" } });
    if (!answer.ok) throw new Error(String(answer.status));
    return answer.json();
  }

  function template(figure) {
    return figure.templates[dark.matches ? "dark" : "light"];
  }

  async function draw(chart) {
    const status = chart.querySelector("[data-status]");
    const plot = chart.querySelector(".plot");
    try {
      status.hidden = false;
      plot.hidden = false;
      status.textContent = "The figure is being drawn.";
      const [figure] = await Promise.all([read(chart), loadLibrary()]);
      plot.style.height = `${figure.layout.height}px`; // else a resize and then a new theme lose it
      await Plotly.newPlot(plot, figure.data, { ...figure.layout, template: template(figure) }, config);
      status.hidden = true;
      chart.classList.add("read");
      chart.dataset.drawn = "yes";
      dark.addEventListener("change", () => Plotly.relayout(plot, { template: template(figure) }));
    } catch {
      status.textContent = "The figure could not be drawn. Every number in it is also in words on this page.";
      chart.dataset.drawn = "no";
    }
  }

  function watch(root) {
    for (const button of root.querySelectorAll("[data-read]")) {
      button.hidden = false;
      button.onclick = () => { draw(button.closest(".chart")); button.remove(); };
    }
    const charts = root.querySelectorAll(":is([data-figure-src], [data-figure-inline]):not([data-drawn])");
    const near = new IntersectionObserver((entries) => {
      for (const entry of entries.filter((e) => e.isIntersecting)) {
        near.unobserve(entry.target);
        draw(entry.target);
      }
    }, { rootMargin: "300px" });
    charts.forEach((chart) => near.observe(chart));
  }

  function start() {
    watch(document);
    document.addEventListener("solespan:fresh", (event) => watch(event.detail));
    document.querySelector("[aria-invalid]")?.scrollIntoView({ block: "center" });
  }

  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
  else start();
})();
