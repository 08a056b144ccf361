/* Keys of the month's list. They act only while the focus is on or within an item, never in a
   field, so that no key of the browser or of a screen reader is taken away. */
(function () {
  "use strict";
  var OPENS = { o: "open", l: "look", n: "dismiss", u: "undo" };

  function items() {
    return [...document.querySelectorAll(".deciding > li")];
  }

  function isTyping(element) {
    return Boolean(element.closest("input, textarea, select"));
  }

  function focusOn(item) {
    if (item) {
      item.querySelector("[id^='item-']").focus();
    }
  }

  function putAway(item) {
    item.querySelectorAll("details.act[open]").forEach(function (one) {
      one.open = false;
      one.querySelector("summary").focus();
    });
  }

  function show(item, what) {
    var form = item.querySelector('details[data-decide="' + what + '"]');
    if (!form) {
      return false;
    }
    putAway(item);
    form.open = true;
    form.querySelector("input:not([type=hidden]), textarea, select").focus();
    return true;
  }

  document.addEventListener("keydown", function (event) {
    var item = event.target.closest(".deciding > li");
    if (!item || event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    if (event.key === "Escape") {
      putAway(item);
      return;
    }
    if (isTyping(event.target)) {
      return;
    }
    var all = items();
    var isTaken = true;
    if (event.key === "j") {
      focusOn(all[all.indexOf(item) + 1]);
    } else if (event.key === "k") {
      focusOn(all[all.indexOf(item) - 1]);
    } else {
      isTaken = Boolean(OPENS[event.key]) && show(item, OPENS[event.key]);
    }
    if (isTaken) {
      event.preventDefault();
    }
  });

  /* What was typed is there again after a reload of the tab; sent, it is forgotten. */
  function keyOf(form) {
    var person = document.querySelector(".person");
    var item = form.querySelector('[name="item"]');
    var month = form.querySelector('[name="month"]');
    var what = form.querySelector('[name="what"]');
    return ["draft", person, month, item, what]
      .map(function (one) {
        return one && one.nodeType ? one.value || one.textContent : one || "";
      })
      .join("|");
  }

  function fields(form) {
    return [...form.querySelectorAll("textarea, select, input:not([type=hidden])")];
  }

  function store(action) {
    try {
      return action(window.sessionStorage);
    } catch (error) {
      return null; /* No storage: drafts last as long as the page. */
    }
  }

  document.addEventListener("input", function (event) {
    var form = event.target.closest && event.target.closest("form.decide");
    if (form) {
      store(function (kept) {
        var values = fields(form).map(function (one) {
          return one.value;
        });
        kept.setItem(keyOf(form), JSON.stringify(values));
      });
    }
  });
  document.addEventListener("submit", function (event) {
    if (event.target.matches("form.decide")) {
      store(function (kept) {
        kept.removeItem(keyOf(event.target));
      });
    }
  });

  function restore(form) {
    form.dataset.restored = "yes";
    var values = store(function (kept) {
      return JSON.parse(kept.getItem(keyOf(form)) || "null");
    });
    if (values) {
      fields(form).forEach(function (one, number) {
        one.value = values[number];
      });
      form.closest("details").open = true;
    }
  }

  new MutationObserver(function () {
    document.querySelectorAll("form.decide:not([data-restored])").forEach(restore);
  }).observe(document.documentElement, { childList: true, subtree: true });

  /* One form of an item at a time, and its first field has the focus. */
  document.addEventListener(
    "toggle",
    function (event) {
      var form = event.target;
      if (!form.matches || !form.matches("details.act[open]")) {
        return;
      }
      form.parentElement.querySelectorAll("details.act[open]").forEach(function (other) {
        if (other !== form) {
          other.open = false;
        }
      });
    },
    true
  );
})();
