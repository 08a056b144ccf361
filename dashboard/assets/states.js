/* States that no page can draw itself: it is still coming, it did not come, a newer one is there. */
(function () {
  "use strict";
  var SLOW_MS = 350;
  var ASK_EVERY_MS = 60000;
  var IDLE_MS = 180000;
  var UPDATE = "/_dash-update-component";
  var waiting = 0;
  var slow = null;

  function bar() {
    var found = document.getElementById("state");
    if (!found) {
      found = document.createElement("div");
      found.id = "state";
      found.setAttribute("role", "status");
      document.body.insertBefore(found, document.body.firstChild);
    }
    return found;
  }

  function say(kind, text, action) {
    var place = bar();
    place.className = kind;
    place.textContent = text;
    if (action) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = action;
      button.addEventListener("click", function () {
        window.location.reload();
      });
      place.appendChild(document.createTextNode(" "));
      place.appendChild(button);
    }
  }

  function quiet(kind) {
    if (bar().className === kind) {
      say("", "");
    }
  }

  function begin() {
    waiting += 1;
    document.documentElement.setAttribute("aria-busy", "true");
    window.clearTimeout(slow);
    slow = window.setTimeout(function () {
      if (waiting) {
        say("loading", "Loading…");
      }
    }, SLOW_MS);
  }

  function end() {
    waiting -= 1;
    if (!waiting) {
      document.documentElement.removeAttribute("aria-busy");
      quiet("loading");
    }
  }

  function failed() {
    say(
      "failed",
      "This screen did not come. What you see is what was there before; nothing is lost.",
      "Try again"
    );
  }

  var ask = window.fetch;
  window.fetch = function (request) {
    var url = String(request && request.url ? request.url : request);
    if (url.indexOf(UPDATE) < 0) {
      return ask.apply(this, arguments);
    }
    begin();
    return ask.apply(this, arguments).then(
      function (answer) {
        end();
        if (answer.status >= 500) {
          failed();
        } else {
          quiet("failed");
        }
        return answer;
      },
      function (problem) {
        end();
        failed();
        throw problem;
      }
    );
  };

  /* Asking counts as use of the session, so nobody at work means no question. */
  var lastTouch = Date.now();
  ["pointerdown", "keydown"].forEach(function (kind) {
    document.addEventListener(kind, function () {
      lastTouch = Date.now();
    });
  });

  /* The snapshot that the screen was made from stands in its footer. */
  function shown() {
    var footer = document.querySelector("[data-snapshot]");
    return footer && footer.dataset;
  }

  function look() {
    var now = shown();
    if (!now || document.hidden || Date.now() - lastTouch > IDLE_MS) {
      return;
    }
    ask(now.newest, { headers: { Accept: "text/plain" } }).then(
      function (answer) {
        return answer.ok ? answer.text() : "";
      },
      function () {
        return "";
      }
    ).then(function (newest) {
      var still = shown();
      if (newest && still && still.snapshot !== newest.trim()) {
        say("stale", "Newer figures were published since this screen was opened.", "Show them");
      }
    });
  }

  window.setInterval(look, ASK_EVERY_MS);
  document.addEventListener("visibilitychange", look);
  window.addEventListener("pageshow", look);
  window.addEventListener("popstate", function () {
    quiet("failed");
  });
})();
