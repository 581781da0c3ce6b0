// What is long to find, or to read, is loaded when it is opened.
document.addEventListener("toggle", async (event) => {
  const part = event.target.querySelector?.("[data-load]");
  if (!part || !event.target.open) return;
  const answer = await fetch(part.dataset.load);
  if (!answer.ok) return;
  part.innerHTML = await answer.text();
  delete part.dataset.load;
}, true);
