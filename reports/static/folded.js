// What is folded opens when the address leads there, and the parts of a page for paper.
"use strict";
{
  const reveal = () => {
    const target = document.querySelector(":target");
    for (let one = target?.closest("details"); one; one = one.parentElement.closest("details")) {
      one.open = true;
    }
    target?.closest("details")?.scrollIntoView();
  };
  const closed = () => [...document.querySelectorAll("details.part:not([open])")];
  let opened = [];
  window.addEventListener("hashchange", reveal);
  window.addEventListener("beforeprint", () => {
    opened = closed();
    for (const one of opened) one.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const one of opened) one.open = false;
  });
  if (location.hash) reveal();
}
