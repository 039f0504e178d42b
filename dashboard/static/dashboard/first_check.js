/* The verdict comes into view, and the time zone of this machine is offered. */
"use strict";
(() => {
  const zone = document.querySelector("select[name=time_zone]");
  const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone && zone.value === "UTC" && [...zone.options].some((option) => option.value === here)) zone.value = here;
  document.querySelector("[data-focus]")?.focus();
})();
