"use strict";
(function () {
  var list = document.getElementById("cases");
  var items = Array.prototype.slice.call(list.children);
  var told = document.getElementById("told");
  function value(id) { return document.getElementById(id).value; }
  function show() {
    var mark = value("by-mark"), finding = value("by-finding"), place = value("by-place"), order = value("by-order");
    var shown = 0;
    items.forEach(function (item) {
      var d = item.dataset;
      var ok = (!mark || d.mark === mark) && (!place || d.place === place) &&
        (!finding || d.findings.split("; ").indexOf(finding) >= 0);
      item.hidden = !ok;
      if (ok) { shown += 1; }
    });
    items.slice().sort(function (a, b) {
      var x = a.dataset[order], y = b.dataset[order];
      return x < y ? -1 : x > y ? 1 : 0;
    }).forEach(function (item) { list.appendChild(item); });
    told.textContent = told.dataset.words.replace("{shown}", shown).replace("{all}", items.length);
  }
  ["by-mark", "by-finding", "by-place", "by-order"].forEach(function (id) {
    document.getElementById(id).addEventListener("change", show);
  });
  document.getElementById("filters").hidden = false;
  show();
}());
