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

  var lastAnswer = null;
  var lastText = "";
  var arrivedAt = "";

  function arrive() {
    var answer = document.getElementById("answer");
    if (!answer) {
      return;
    }
    var isFirst = lastAnswer === null;
    var isNew = answer !== lastAnswer || answer.textContent !== lastText;
    lastAnswer = answer;
    lastText = answer.textContent;
    var part = window.location.hash.slice(1);
    if (!part) {
      arrivedAt = "";
      if (isNew && !isFirst) {
        answer.focus({ preventScroll: true });
      }
      return;
    }
    var target = document.getElementById(part);
    if (target && arrivedAt !== window.location.href) {
      arrivedAt = window.location.href;
      target.scrollIntoView();
      if (target.hasAttribute("tabindex")) {
        target.focus({ preventScroll: true });
      }
    }
  }

  new MutationObserver(arrive).observe(document.documentElement, {
    childList: true,
    characterData: true,
    subtree: true,
  });
})();
