"use strict";
// Shows the measurements that have what was chosen; what is computed stays that of all, and says so.
(() => {
  const form = document.getElementById("filters");
  const rows = document.getElementById("rows").textContent.split("\n").map((line) => line.split("|"));
  const choices = [...form.querySelectorAll("select")];
  const marked = [...document.querySelectorAll("[data-row]")];
  const output = form.querySelector("output");
  const show = () => {
    const wanted = choices.map((choice) => choice.value);
    const fits = rows.map((row) => wanted.every((value, at) => value === "*" || row[at] === value));
    for (const element of marked) {
      const row = Number(element.dataset.row);
      element.classList.toggle("off", row < rows.length && !fits[row]);
    }
    const count = fits.filter(Boolean).length;
    output.textContent = wanted.every((value) => value === "*")
      ? ""
      : `${count} of ${rows.length} shown; lines and numbers are those of all`;
  };
  form.hidden = false;
  form.addEventListener("change", show);
  form.addEventListener("submit", (event) => event.preventDefault());
  show();
})();
