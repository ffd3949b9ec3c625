"use strict";
(() => {
  const find = document.getElementById("find"), count = document.getElementById("count");
  const rows = [...document.querySelectorAll("#boilers tbody tr")];
  const plain = (text) => text.normalize("NFKC").toLocaleLowerCase();
  document.querySelector(".find").hidden = false;
  find.addEventListener("input", () => {
    const wanted = plain(find.value.trim());
    let shown = 0;
    rows.forEach((row) => {
      row.hidden = !plain(row.cells[0].textContent).includes(wanted);
      shown += row.hidden ? 0 : 1;
    });
    count.textContent = wanted ? `${shown} of ${rows.length}` : "";
  });
})();
