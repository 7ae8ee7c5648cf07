// Drawings arrive as text in data-svg and are put into the page here; figures are walked with the arrow keys.
(function () {
  "use strict";
  function draw(node) {
    if (node.__drawn !== node.dataset.svg) {
      node.__drawn = node.dataset.svg;
      node.innerHTML = node.dataset.svg;
    }
  }
  function drawAll(root) {
    if (root.nodeType !== 1) { return; }
    if (root.dataset.svg !== undefined) { draw(root); }
    root.querySelectorAll("[data-svg]").forEach(draw);
  }
  new MutationObserver(function (changes) {
    changes.forEach(function (c) {
      if (c.type === "attributes") { draw(c.target); }
      c.addedNodes.forEach(drawAll);
    });
  }).observe(document.documentElement, {subtree: true, childList: true, attributes: true, attributeFilter: ["data-svg"]});

  // A figure is one stop: left and right walk its points and read them out in the caption; Esc leaves it.
  document.addEventListener("keydown", function (e) {
    const figure = e.target.closest && e.target.closest("figure[data-points]");
    if (!figure || e.target !== figure) { return; }
    if (e.key === "Escape") { figure.blur(); return; }
    if (e.key !== "ArrowRight" && e.key !== "ArrowLeft") { return; }
    e.preventDefault();
    const points = JSON.parse(figure.dataset.points);
    const step = e.key === "ArrowRight" ? 1 : -1;
    const at = Math.min(points.length - 1, Math.max(0, (figure.__at === undefined ? -1 : figure.__at) + step));
    figure.__at = at;
    const caption = figure.querySelector("figcaption");
    if (caption && points.length) { caption.textContent = points[at]; }
  });

  // Light or dark: the machine's wish until the switch is used, then remembered.
  const kept = localStorage.getItem("boxhold-theme");
  if (kept) { document.documentElement.dataset.theme = kept; }
  function isDark() {
    return (document.documentElement.dataset.theme ||
      (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";
  }
  document.addEventListener("click", function (e) {
    const list = document.querySelector(".pages-list");
    if (list && list.open && (e.target.closest(".pages-list a") || !e.target.closest(".pages-list"))) { list.open = false; }
    const button = e.target.closest("[data-turns=theme]");
    if (button) {
      const next = isDark() ? "light" : "dark";
      document.documentElement.dataset.theme = next;
      localStorage.setItem("boxhold-theme", next);
    }
    if (e.target.closest("[data-does=print]")) { window.print(); }
  });
  new MutationObserver(function () {
    document.querySelectorAll("[data-turns=theme]").forEach(function (b) {
      const words = isDark() ? "light" : "dark";
      if (b.textContent !== words) { b.textContent = words; }
    });
  }).observe(document.documentElement, {subtree: true, childList: true, attributes: true, attributeFilter: ["data-theme"]});
})();

// The view a page is drawn for: address, units and the width of the window.
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.view = {
  now: function (path, search, presses, width) {
    const asked = window.dash_clientside.callback_context.triggered_id;
    let units = localStorage.getItem("boxhold-units") || "metric";
    if (asked === "to-metric" || asked === "to-inch") {
      units = asked === "to-inch" ? "inch" : "metric";
      localStorage.setItem("boxhold-units", units);
    }
    return {path: path || "/", search: search || "", units: units, width: window.innerWidth};
  },
  pressed: function (view) {
    const inch = !!view && view.units === "inch";
    return [inch ? "false" : "true", inch ? "true" : "false"];
  },
};
window.addEventListener("load", function () {
  let waiting = null, last = window.innerWidth;
  window.addEventListener("resize", function () {
    clearTimeout(waiting);
    waiting = setTimeout(function () {
      if (Math.abs(window.innerWidth - last) < 8 || matchMedia("print").matches) { return; }
      last = window.innerWidth;
      window.dash_clientside.set_props("window-width", {data: last});
    }, 250);
  });
});

// A file dropped or chosen is posted to this computer's own server; its page opens when it was read.
(function () {
  "use strict";
  async function bringIn(file) {
    const say = function (words) {
      window.dash_clientside.set_props("upload-error", {children: words});
    };
    const form = new FormData();
    form.append("file", file);
    try {
      const answer = await fetch("/api/log", {method: "POST", body: form});
      const told = answer.ok ? await answer.json() : {error: "This file could not be taken; it may be larger than 25 MB."};
      if (told.go) { window.location.assign(told.go); } else { say(told.error); }
    } catch (trouble) {
      say("The shop's computer did not answer; look whether Boxhold is still running there.");
    }
  }
  document.addEventListener("change", function (e) {
    if (e.target.matches("[data-does=bring-in]") && e.target.files.length) { bringIn(e.target.files[0]); }
  });
  ["dragover", "dragleave", "drop"].forEach(function (kind) {
    document.addEventListener(kind, function (e) {
      const place = document.querySelector(".drop");
      if (!place) { return; }
      e.preventDefault();
      place.classList.toggle("over", kind === "dragover");
      if (kind === "drop" && e.dataTransfer.files.length) { bringIn(e.dataTransfer.files[0]); }
    });
  });
})();

// Links between pages change the address without loading everything anew.
document.addEventListener("click", function (e) {
  const link = e.target.closest && e.target.closest("a[href]");
  if (!link || e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) { return; }
  const to = new URL(link.href, window.location.href);
  const inner = to.origin === window.location.origin && link.getAttribute("href").charAt(0) !== "#" && !link.target;
  if (!inner || !window.dash_clientside.set_props) { return; }
  e.preventDefault();
  const moved = to.pathname !== window.location.pathname;
  window.dash_clientside.set_props("url", {pathname: to.pathname, search: to.search});
  if (moved) { window.scrollTo(0, 0); }
});

// Buttons and keys of a running hold test.
(function () {
  "use strict";
  function name() {
    const found = window.location.pathname.match(/^\/hold\/([^/]+)$/);
    return found ? found[1] : null;
  }
  function act(what) {
    if (name()) {
      fetch("/api/hold/" + name(), {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(what)});
    }
  }
  document.addEventListener("click", function (e) {
    const button = e.target.closest && e.target.closest("[data-hold]");
    if (button) { act({do: button.dataset.hold}); }
  });
  document.addEventListener("keydown", function (e) {
    if (!name() || e.target.closest("input, select, textarea, button, a, summary")) { return; }
    const press = function (which) {
      const button = document.querySelector("[data-hold=" + which + "]");
      if (button) { e.preventDefault(); button.click(); }
    };
    if (e.key === " ") { press("end"); }
    if (e.key === "h" || e.key === "H") { press("on"); }
    if (e.key === "b" || e.key === "B") { document.documentElement.classList.toggle("bench"); }
    if (e.key === "m" || e.key === "M") {
      const words = window.prompt("Remark, kept with this moment:");
      if (words) { act({do: "remark", text: words}); }
    }
  });
  // Between two drawings of the page the readings heard meanwhile are put on its curve.
  let asked = false;
  function put(plot, told) {
    const end = told.x.length - 1, x = told.x[end], y = told.y[end];
    const moved = {
      reading: {x: x, y: y, text: told.words}, now: {x: x, x0: x, x1: x}, ahead: {x0: x},
    };
    const move = function (part) { return moved[part.name] ? Object.assign({}, part, moved[part.name]) : part; };
    const at = ["tail", "ring"].map(function (n) { return plot.data.findIndex(function (d) { return d.name === n; }); });
    window.Plotly.update(plot, {x: [told.x, [x]], y: [told.y, [y]]},
      {annotations: plot.layout.annotations.map(move), shapes: plot.layout.shapes.map(move)}, at);
  }
  setInterval(async function () {
    const plot = name() && document.querySelector("#live-curve .js-plotly-plot");
    if (asked || !plot || !plot.layout || !plot.layout.meta || document.visibilityState !== "visible") { return; }
    const meta = plot.layout.meta, units = localStorage.getItem("boxhold-units") || "metric";
    asked = true;
    try {
      const answer = await fetch("/api/hold/" + name() + "/heard?from=" + meta.heard + "&units=" + units);
      const told = await answer.json();
      const same = plot.layout && plot.layout.meta === meta && told.zero_s === meta.zero_s;
      if (same && told.x.length > 1 && plot.data.some(function (d) { return d.name === "tail"; })) { put(plot, told); }
      const clock = document.getElementById("clock");
      if (clock && told.clock) { clock.textContent = told.clock; }
    } catch (trouble) {
      // The page's own drawing says when the shop's computer does not answer.
    } finally {
      asked = false;
    }
  }, 150);
  // The screen stays awake during a hold where the browser allows it.
  let lock = null;
  setInterval(function () {
    const wanted = name() && document.visibilityState === "visible";
    if (wanted && !lock && navigator.wakeLock) {
      navigator.wakeLock.request("screen").then(function (l) { lock = l; l.addEventListener("release", function () { lock = null; }); }, function () {});
    }
    if (!name() && lock) { lock.release(); }
  }, 5000);
})();
