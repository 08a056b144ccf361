/* Who was logged out meanwhile is sent to the log-in instead of looking at an old page. */
(function () {
  "use strict";
  var ask = window.fetch;
  window.fetch = function () {
    return ask.apply(this, arguments).then(function (answer) {
      if (answer.status === 401) {
        window.location.reload();
      }
      return answer;
    });
  };
})();
