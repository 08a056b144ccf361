/* A chart as a picture, with its finding, the network and the snapshot on it; and the link of what
   is on screen. Everything happens in this browser. */
(function () {
  "use strict";

  function textOf(selector, within) {
    var found = (within || document).querySelector(selector);
    return found ? found.textContent.trim() : "";
  }

  function css(name) {
    var probe = document.createElement("i");
    probe.style.color = "var(" + name + ")";
    document.body.appendChild(probe);
    var colour = window.getComputedStyle(probe).color;
    probe.remove();
    return colour;
  }

  function wrapped(text, width) {
    var lines = [""];
    text.split(" ").forEach(function (word) {
      var last = lines[lines.length - 1];
      if (last && (last + " " + word).length > width) {
        lines.push(word);
      } else {
        lines[lines.length - 1] = last ? last + " " + word : word;
      }
    });
    return lines.join("<br>");
  }

  function escaped(text) {
    return text.replace(/&/g, "&amp;").replace(/</g, "&lt;");
  }

  function save(figure, format) {
    var graph = figure.querySelector(".js-plotly-plot");
    var layout = JSON.parse(JSON.stringify(graph.layout));
    var finding = wrapped(escaped(textOf("figcaption", figure)), 90);
    var source = textOf(".brand") + ". " + textOf(".screen > footer p:last-child");
    var lines = finding.split("<br>").length;
    layout.paper_bgcolor = css("--paper");
    layout.width = 960;
    layout.height = 300 + 20 * lines + 40;
    layout.margin = Object.assign({}, layout.margin, { t: 30 + 20 * lines });
    layout.margin.b = (layout.margin.b || 0) + 44;
    layout.annotations = (layout.annotations || []).concat([
      label(finding, 1, "bottom", 16, css("--ink"), 8),
      label(wrapped(escaped(source), 150), 0, "top", 10, css("--muted"), -24),
    ]);
    window.Plotly.toImage(
      { data: graph.data, layout: layout, config: { staticPlot: true } },
      { format: format, width: layout.width, height: layout.height, scale: 2 }
    ).then(function (url) {
      var link = document.createElement("a");
      link.href = url;
      link.download = nameOf(figure) + "." + format;
      link.click();
    });
  }

  function label(text, y, anchor, size, colour, shift) {
    return {
      text: text,
      xref: "paper",
      yref: "paper",
      x: 0,
      y: y,
      xanchor: "left",
      yanchor: anchor,
      yshift: shift,
      align: "left",
      showarrow: false,
      font: { size: size, color: colour },
    };
  }

  function nameOf(figure) {
    var graph = figure.querySelector(".dash-graph");
    return (graph && graph.id ? graph.id : "chart").replace(/[^a-z0-9-]+/gi, "-");
  }

  /* The part of the screen that holds a chart is named by its heading. */
  function linkOf(figure) {
    var part = figure.closest("article, section");
    var heading = part && part.querySelector("[id]");
    var address = new URL(window.location.href);
    address.hash = heading ? heading.id : "";
    return address.href;
  }

  function copied(button, text) {
    var said = button.parentElement.querySelector("[role=status]");
    said.textContent = text;
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-save]");
    var figure = button && button.closest("figure");
    if (!figure) {
      return;
    }
    if (button.dataset.save !== "link") {
      save(figure, button.dataset.save);
      return;
    }
    var address = linkOf(figure);
    if (!navigator.clipboard) {
      copied(button, address);
      return;
    }
    navigator.clipboard.writeText(address).then(
      function () {
        copied(button, "Link copied.");
      },
      function () {
        copied(button, address);
      }
    );
  });
})();
