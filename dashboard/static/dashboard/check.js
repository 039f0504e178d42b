/* The timer of a stage, and what is shown once both of its numbers are there.  Without it the page works all the same. */
"use strict";
(() => {
  const READ_AFTER_S = 2;
  const OFF_BY_S = 10;

  const focusFirst = (root) => root.querySelector("[data-focus]")?.focus();

  function startTimer(form) {
    const timer = form.querySelector(".timer");
    if (!timer) return;
    const button = timer.querySelector("[data-timer]");
    const shown = timer.querySelector("[data-seconds]");
    const say = timer.querySelector("[data-say]");
    const kept = form.elements.seconds_on;
    let since = null;
    let ticking = 0;
    timer.hidden = false;
    const seconds = () => (performance.now() - since) / 1000;
    const tick = () => {
      const on = seconds();
      shown.textContent = `${Math.floor(on)} s`;
      const words = on < READ_AFTER_S ? timer.dataset.wait : on < OFF_BY_S ? timer.dataset.read : timer.dataset.over;
      if (say.textContent !== words) say.textContent = words;
      timer.classList.toggle("over", on >= OFF_BY_S);
    };
    button.addEventListener("click", () => {
      if (since === null) {
        since = performance.now();
        button.textContent = timer.dataset.off;
        ticking = setInterval(tick, 200);
        tick();
      } else {
        clearInterval(ticking);
        kept.value = seconds().toFixed(1);
        shown.textContent = `${kept.value} s`;
        say.textContent = "";
        since = null;
        button.textContent = timer.dataset.on;
        form.elements.supply_voltage_v.focus();
      }
    });
    form.addEventListener("submit", () => {
      if (since !== null) kept.value = seconds().toFixed(1);
    });
  }

  function watchPair(form) {
    const answer = form.querySelector("[data-answer]");
    const pair = [form.elements.supply_voltage_v, form.elements.current_a];
    let asked = 0;
    const look = async () => {
      if (pair.some((field) => !field.value.trim())) {
        answer.replaceChildren();
        return;
      }
      const mine = ++asked;
      const reply = await fetch(form.dataset.look, { method: "POST", body: new FormData(form) });
      if (mine !== asked || !reply.ok) return;
      answer.innerHTML = await reply.text();
      focusFirst(answer);
      answer.querySelector("[data-close]")?.addEventListener("click", () => {
        answer.replaceChildren();
        pair[1].focus();
      });
    };
    pair.forEach((field) => field.addEventListener("change", look));
  }

  function nameTemperature(place) {
    const { form } = document.getElementById(`id_${place.dataset.temperature}`);
    const label = form.querySelector(`label[for="id_${place.dataset.temperature}"]`);
    const name = () => {
      const parked = form.elements.coil_temperature_method.value === "parked";
      label.textContent = parked ? place.dataset.parked : place.dataset.other;
    };
    form.addEventListener("change", name);
    name();
  }

  document.querySelectorAll("[data-temperature]").forEach(nameTemperature);
  document.querySelectorAll("form[data-look]").forEach((form) => {
    startTimer(form);
    watchPair(form);
  });
  focusFirst(document);
})();
