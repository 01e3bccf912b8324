() => {
  const wide = document.documentElement.clientWidth;
  const found = [];
  for (const element of document.querySelectorAll("body *:not(svg *):not(.strip *):not(.cm-editor *)")) {
    if (!element.checkVisibility({ visibilityProperty: true }) || !element.matches("button, label, legend, summary, h1, h2, h3, p, li, select, b")) continue;
    if (element.closest(".tabs, .wide, .text-host, .title")) continue;
    const box = element.getBoundingClientRect();
    if (element.scrollWidth > element.clientWidth + 1 && !element.matches("label, b, select")) found.push(["cut", element.outerHTML.slice(0, 90)]);
    if (box.right > wide + 1 || box.left < -1) found.push(["out", element.outerHTML.slice(0, 90), box.left, box.right]);
  }
  const pen = document.createElement("canvas").getContext("2d");
  for (const list of document.querySelectorAll("select")) {
    if (!list.checkVisibility({ visibilityProperty: true }) || !list.selectedOptions.length) continue;
    const style = getComputedStyle(list);
    pen.font = style.font;
    const room = list.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - 16; // its arrow
    const text = list.selectedOptions[0].text;
    if (pen.measureText(text).width > room + 1) found.push(["cut", text, pen.measureText(text).width, room]);
  }
  for (const tab of document.querySelectorAll(".tabs button")) if (tab.scrollWidth > tab.clientWidth + 1) found.push(["tab", tab.textContent]);
  if (document.documentElement.scrollWidth > wide) found.push(["page", document.documentElement.scrollWidth]);
  return found;
}
