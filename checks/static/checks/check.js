// Comforts of the page on which a check is carried out; it works without them.
(() => {
  "use strict";
  const form = document.getElementById("check");
  if (!form) return;
  const changed = (field) => field.dispatchEvent(new Event("change", { bubbles: true }));

  // 'Same': the value of the row above, one tap.
  for (const button of form.querySelectorAll("[data-same]")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      const row = button.closest(".series-row");
      const from = row.previousElementSibling.querySelector("[inputmode=decimal]");
      const to = row.querySelector("[inputmode=decimal]");
      to.value = from.value;
      changed(to);
    });
  }

  // Choosing an instrument chooses the unit that it reads in.
  for (const select of form.querySelectorAll("[data-sets]")) {
    select.addEventListener("change", () => {
      const unit = form.elements[select.dataset.sets];
      const reads = select.selectedOptions[0].dataset.unit;
      if (unit && reads && [...(unit.options || [])].some((option) => option.value === reads)) unit.value = reads;
    });
  }

  // A typed code chooses the instrument that has it; of one that is not offered the server says why.
  for (const input of form.querySelectorAll("[data-chooses]")) {
    const says = input.parentElement.querySelector("[data-code-says]");
    input.addEventListener("change", () => {
      const code = input.value.trim().toLowerCase();
      const select = form.elements[input.dataset.chooses];
      const found = code && [...select.options].find((option) => option.dataset.code === code);
      says.hidden = !code || Boolean(found);
      says.querySelector("span").textContent = says.hidden ? "" : `Not offered here: ${input.value.trim()}.`;
      if (!found) return;
      input.value = "";
      select.value = found.value;
      changed(select);
    });
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault(); // it ends the code; it does not send the form
      form.elements[input.dataset.chooses].focus(); // leaving the field is its change
    });
  }

  // 'Same instrument': the one of the nearest step above that chose one which is offered here too.
  const selects = [...form.querySelectorAll("[data-sets]")];
  for (const button of form.querySelectorAll("[data-same-instrument]")) {
    const select = button.closest("section").querySelector("[data-sets]");
    const offers = (value) => value && [...select.options].some((option) => option.value === value);
    const above = selects.slice(0, selects.indexOf(select)).reverse();
    if (!above.some((other) => [...other.options].some((option) => offers(option.value)))) continue;
    button.hidden = false;
    button.addEventListener("click", () => {
      const found = above.find((other) => offers(other.value));
      if (!found) return;
      select.value = found.value;
      changed(select);
    });
  }

  // A details that holds a field which a line leads to opens first.
  const open = () => {
    const field = location.hash && document.getElementById(location.hash.slice(1));
    const folded = field && field.closest("details");
    if (folded) folded.open = true;
    if (field && field.matches("input, select, textarea, fieldset")) field.focus();
  };
  window.addEventListener("hashchange", open);
})();
