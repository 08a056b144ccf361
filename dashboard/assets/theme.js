/* Light and dark, also on plain pages, which have no charts. The page follows by CSS; charts arrive in the light colours (dashboard/look.py)
   and are redrawn with the colours below, value for value. */
(function () {
  "use strict";
  var DARK = {
    "#fbfaf6": "#14181d",
    "#1b2430": "#e9e6df",
    "#5d6673": "#a2a9b2",
    "#ddd9cf": "#343c46",
    "#efece3": "#232a32",
    "#f5f2ea": "#1e252c",
    "#8a1f5c": "#f08cc0",
    "#1d4f73": "#8fc3ea",
  };
  /* Print has no attention colour; the filled diamond carries the meaning. */
  var PRINT = { "#8a1f5c": "#000000", "#1d4f73": "#444444" };
  var system = window.matchMedia("(prefers-color-scheme: dark)");
  var isPrinting = false;

  function isDark() {
    var chosen = document.documentElement.dataset.theme;
    return !isPrinting && (chosen ? chosen === "dark" : system.matches);
  }

  function recolour(value, palette) {
    if (typeof value === "string") {
      return Object.prototype.hasOwnProperty.call(palette, value) ? palette[value] : value;
    }
    if (Array.isArray(value)) {
      return value.map(function (one) {
        return recolour(one, palette);
      });
    }
    if (value && Object.getPrototypeOf(value) === Object.prototype) {
      var copy = {};
      Object.keys(value).forEach(function (key) {
        copy[key] = recolour(value[key], palette);
      });
      return copy;
    }
    return value;
  }

  function coloured(figure) {
    var palette = isPrinting ? PRINT : isDark() ? DARK : null;
    return palette ? recolour(figure, palette) : figure;
  }

  var plain = new WeakMap();
  var draw = window.Plotly && window.Plotly.react;

  function copy(figure) {
    return JSON.parse(JSON.stringify({ data: figure.data || [], layout: figure.layout || {} }));
  }

  /* Paper is narrower than most screens, and a drawn chart does not shrink by itself. */
  var PRINT_WIDTH = 640;

  function fitted(layout, graph) {
    if (isPrinting && graph.clientWidth > PRINT_WIDTH) {
      layout.width = PRINT_WIDTH;
      layout.autosize = false;
    }
    return layout;
  }

  function show(graph, figure, config) {
    var now = coloured(copy(figure));
    fitted(now.layout, graph);
    return draw.call(window.Plotly, graph, {
      data: now.data,
      layout: now.layout,
      frames: figure.frames,
      config: config,
    });
  }

  /* dcc.Graph draws by one call of react with a whole figure. */
  if (draw) {
    window.Plotly.react = function (graph, figure) {
      if (!figure || !figure.data) {
        return draw.apply(window.Plotly, arguments);
      }
      plain.set(graph, { figure: copy(figure), config: figure.config });
      return show(graph, figure, figure.config);
    };
  }

  function redraw() {
    document.querySelectorAll(".js-plotly-plot").forEach(function (graph) {
      var kept = plain.get(graph);
      if (kept) {
        show(graph, kept.figure, kept.config);
      }
    });
  }

  document.addEventListener("click", function (event) {
    if (!event.target.closest("[data-theme-toggle]")) {
      return;
    }
    var next = isDark() ? "light" : "dark";
    document.documentElement.dataset.theme = next;
    try {
      window.localStorage.setItem("theme", next);
    } catch (error) {
      /* No storage: the choice holds for this page. */
    }
    redraw();
  });
  system.addEventListener("change", redraw);
  window.addEventListener("beforeprint", function () {
    isPrinting = true;
    redraw();
  });
  window.addEventListener("afterprint", function () {
    isPrinting = false;
    redraw();
  });
})();
