// morph makes an element's content that of some HTML and keeps what is alike: the focus,
// what is typed, and where the page was scrolled to stay.

export function morph(element, html) {
  const wanted = document.createElement("template");
  wanted.innerHTML = html;
  children(element, wanted.content);
}

/** key is what two nodes must share to be taken for one. */
const key = (node) => node.nodeType + node.nodeName + (node.id ?? "") + (node.dataset?.do ?? "");

function children(now, wanted) {
  let at = now.firstChild;
  for (const next of [...wanted.childNodes]) {
    let same = at;
    while (same && key(same) !== key(next)) same = same.nextSibling;
    if (!same) {
      now.insertBefore(next, at);
      continue;
    }
    while (at !== same) {
      const gone = at;
      at = at.nextSibling;
      gone.remove();
    }
    at = at.nextSibling;
    node(same, next);
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

function node(now, wanted) {
  if (now.nodeType !== Node.ELEMENT_NODE) {
    if (now.nodeValue !== wanted.nodeValue) now.nodeValue = wanted.nodeValue;
    return;
  }
  for (const { name } of [...now.attributes]) {
    if (!wanted.hasAttribute(name) && !(name === "open" && now.nodeName === "DETAILS")) now.removeAttribute(name);
  }
  for (const { name, value } of wanted.attributes) {
    if (now.getAttribute(name) !== value && name !== "value") now.setAttribute(name, value);
  }
  if (now.nodeName === "PROGRESS") now.value = wanted.value;
  if (now.nodeName !== "TEXTAREA") children(now, wanted);
}
