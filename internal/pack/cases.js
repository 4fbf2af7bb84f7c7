"use strict";
(function () {
  var list = document.getElementById("cases");
  // In the order of time, as they stand in the page.
  var items = Array.prototype.slice.call(list.querySelectorAll("article"));
  var told = document.getElementById("told");
  var choices = ["by-mark", "by-finding", "by-place", "by-order"].map(function (id) { return document.getElementById(id); });
  // A word's place in the list that filters by it; what is in no list comes last.
  function rank(choice, word) {
    for (var i = 1; i < choice.options.length; i += 1) {
      if (choice.options[i].value === word) { return i; }
    }
    return choice.options.length;
  }
  function findings(item) { return JSON.parse(item.dataset.findings); }
  var ranks = {
    begin: function () { return 0; },
    mark: function (item) { return rank(choices[0], item.dataset.mark); },
    findings: function (item) { return rank(choices[1], findings(item)[0]); },
    place: function (item) { return rank(choices[2], item.dataset.place); }
  };
  function show() {
    var mark = choices[0].value, finding = choices[1].value, place = choices[2].value, order = ranks[choices[3].value];
    var shown = 0;
    items.forEach(function (item) {
      var ok = (!mark || item.dataset.mark === mark) && (!place || item.dataset.place === place) &&
        (!finding || findings(item).indexOf(finding) >= 0);
      item.hidden = !ok;
      if (ok) { shown += 1; }
    });
    items.map(function (item, at) { return [order(item), at, item]; }).sort(function (a, b) {
      return a[0] - b[0] || a[1] - b[1];
    }).forEach(function (one) { list.appendChild(one[2]); });
    told.textContent = told.dataset.words.replace("{shown}", shown).replace("{all}", items.length);
  }
  // Who follows a link to a case sees it, whatever was filtered out before. The browser
  // scrolls there by itself; to scroll before it leaves would be where it comes back to.
  function open(hash) {
    var item = document.getElementById(hash.slice(1));
    if (!item || !item.hidden) { return; }
    choices.slice(0, 3).forEach(function (choice) { choice.value = ""; });
    show();
    return item;
  }
  choices.forEach(function (choice) { choice.addEventListener("change", show); });
  document.addEventListener("click", function (event) {
    var link = event.target.closest("a");
    if (link) { open(link.hash); }
  });
  window.addEventListener("hashchange", function () {
    var item = open(location.hash);
    if (item) { item.scrollIntoView(); }
  });
  // Coming back, a browser may fill in what was chosen before.
  window.addEventListener("pageshow", show);
  document.getElementById("filters").hidden = false;
  show();
}());
