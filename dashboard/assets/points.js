/* Points of a chart: a click leads to the exams behind it; the focus on a month that is listed below
   shows it in the chart, as pointing at it would. */
(function () {
  "use strict";

  function graphOf(element) {
    var figure = element.closest("figure");
    return figure && figure.querySelector(".js-plotly-plot");
  }

  function curveOfPoints(graph) {
    return graph.data.findIndex(function (trace) {
      return trace.mode === "lines+markers";
    });
  }

  /* Positions in the list count months; the drawn line has gaps between its parts. */
  function positionOf(trace, number) {
    var seen = -1;
    return trace.x.findIndex(function (x) {
      seen += x === null ? 0 : 1;
      return x !== null && seen === number;
    });
  }

  document.addEventListener("focusin", function (event) {
    var named = event.target.closest("[data-point]");
    var graph = named && graphOf(named);
    if (graph) {
      var curve = curveOfPoints(graph);
      var point = positionOf(graph.data[curve], Number(named.dataset.point));
      window.Plotly.Fx.hover(graph, [{ curveNumber: curve, pointNumber: point }]);
    }
  });
  document.addEventListener("focusout", function (event) {
    var named = event.target.closest("[data-point]");
    var graph = named && graphOf(named);
    if (graph) {
      window.Plotly.Fx.unhover(graph);
    }
  });

  function go(href) {
    window.history.pushState({}, "", href);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  function listen(graph) {
    var figure = graph.closest("figure[data-exams]");
    if (!figure || graph.dataset.listens) {
      return;
    }
    graph.dataset.listens = "yes";
    graph.on("plotly_click", function (event) {
      var x = event.points.length && String(event.points[0].x);
      if (x) {
        go(figure.dataset.exams.replace("MONTH", x.slice(0, 7)));
      }
    });
  }

  document.addEventListener("pointerover", function (event) {
    var graph = event.target.closest && event.target.closest(".js-plotly-plot");
    if (graph && graph.on) {
      listen(graph);
    }
  });
})();
