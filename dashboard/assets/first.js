/* Runs before anything is drawn: the theme that the reader chose earlier. */
(function () {
  "use strict";
  try {
    var chosen = window.localStorage.getItem("theme");
    if (chosen === "light" || chosen === "dark") {
      document.documentElement.dataset.theme = chosen;
    }
  } catch (error) {
    /* No storage: the system's theme holds. */
  }
})();
