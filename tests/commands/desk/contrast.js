() => {
  const channel = (c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const parse = (text) => { const m = text.match(/[\d.]+/g).map(Number); return [...m.slice(0, 3), m[3] ?? 1]; };
  const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const over = (top, under) => [0, 1, 2].map((i) => top[i] * top[3] + under[i] * (1 - top[3]));
  const behind = (element) => {
    const layers = [];
    for (let each = element; each; each = each.parentElement) {
      const colour = parse(getComputedStyle(each).backgroundColor);
      if (colour[3]) layers.push(colour);
      if (colour[3] === 1) break;
    }
    return layers.reverse().reduce((under, top) => over(top, under), [255, 255, 255]);
  };
  const low = [];
  for (const element of document.querySelectorAll("body *:not(svg *)")) {
    const words = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    const text = words || element.matches("input, select");
    const style = getComputedStyle(element);
    if (!text || !element.checkVisibility({ visibilityProperty: true }) || element.matches(":disabled, :disabled *")) continue;
    const [one, other] = [light(over(parse(style.color), behind(element))), light(behind(element))].sort((a, b) => b - a);
    const ratio = (one + 0.05) / (other + 0.05);
    const large = parseFloat(style.fontSize) >= 24 || (parseFloat(style.fontSize) >= 18.66 && style.fontWeight >= 700);
    if (ratio < (large ? 3 : 4.5)) low.push([element.outerHTML.slice(0, 90), ratio.toFixed(2)]);
  }
  return low;
}
