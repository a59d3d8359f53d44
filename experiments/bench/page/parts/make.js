// Small pieces of a page.

export function make(tag, properties = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name === "class") made.className = value;
    else if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name in made && !name.startsWith("aria")) made[name] = value;
    else made.setAttribute(name, value);
  }
  made.append(...inside.filter((piece) => piece !== null && piece !== undefined));
  return made;
}

export function fill(host, ...inside) { host.replaceChildren(...inside); return host; }

// A number as people read it: four digits, no exponent where it can be helped.
export function shown(value, digits = 4) {
  if (Number.isNaN(value)) return "none";
  if (!Number.isFinite(value)) return value > 0 ? "∞" : "−∞";
  if (value === 0) return "0";
  const text = String(Number(value.toPrecision(digits)));
  return text.replace("-", "−");
}

export function fixed(value, decimals) {
  if (!Number.isFinite(value)) return shown(value);
  const text = value.toFixed(decimals);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

export function signed(value, decimals) { return (value > 0 && Number.isFinite(value) ? "+" : "") + fixed(value, decimals); }

export function withUnit(text, unit) { return unit ? `${text} ${unit}` : text; }
