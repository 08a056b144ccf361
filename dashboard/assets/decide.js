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
