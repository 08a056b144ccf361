/* Native selects lead to an address. A click on an option goes there at once; by keyboard the
   button (or Enter) does, so that arrow keys can pass over options. After each change of screen
   the answer gets the focus, or the part that the address names. */
(function () {
  "use strict";
  var isByPointer = false;

  function go(href) {
    var target = new URL(href, window.location.href);
    if (target.origin !== window.location.origin) {
      return;
    }
    window.history.pushState({}, "", target.href);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  function selectNear(element) {
    return element.closest(".choice").querySelector('[data-goto="select"]');
  }

  document.addEventListener("pointerdown", function (event) {
    isByPointer = Boolean(event.target.closest('[data-goto="select"]'));
  });
  document.addEventListener("keydown", function (event) {
    isByPointer = false;
    if (event.key === "Enter" && event.target.matches('[data-goto="select"]')) {
      event.preventDefault();
      go(event.target.value);
    }
  });
  document.addEventListener("change", function (event) {
    if (isByPointer && event.target.matches('[data-goto="select"]')) {
      go(event.target.value);
    }
  });
  document.addEventListener("click", function (event) {
    var button = event.target.closest('[data-goto="button"]');
    if (button) {
      go(selectNear(button).value);
    }
  });

  var lastAddress = null;

  function arrive() {
    var answer = document.getElementById("answer");
    if (!answer) {
      return;
    }
    var address = window.location.href;
    if (lastAddress === address) {
      return;
    }
    var isFirst = lastAddress === null;
    lastAddress = address;
    var part = window.location.hash && document.getElementById(window.location.hash.slice(1));
    if (part) {
      part.scrollIntoView();
    } else if (!isFirst) {
      answer.focus({ preventScroll: true });
    }
  }

  new MutationObserver(arrive).observe(document.documentElement, {
    childList: true,
    subtree: true,
  });
})();
