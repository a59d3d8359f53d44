// Taking something home: the rig file, the command, the picture.
import { colour } from "./chart.js";

export function save(name, blob) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

export function saveText(name, text) { save(name, new Blob([text], { type: "text/plain;charset=utf-8" })); }

export async function copy(text) {
  try { await navigator.clipboard.writeText(text); return true; } catch { return false; }
}

// All canvases of the sheet, one below the other, with their titles and the caution.
export function savePicture(host, title, caution) {
  const charts = [...host.querySelectorAll("figure.chart, canvas.plane")].map((one) => {
    const canvas = one.tagName === "CANVAS" ? one : one.querySelector("canvas");
    return { canvas, name: (one.tagName === "CANVAS" ? one : one.querySelector("[role=img]")).getAttribute("aria-label").split(". ")[0] };
  }).filter((one) => one.canvas && one.canvas.width && one.canvas.offsetParent !== null);
  const ratio = devicePixelRatio || 1, width = Math.max(...charts.map((one) => one.canvas.width)) + 40 * ratio;
  const height = charts.reduce((sum, one) => sum + one.canvas.height + 34 * ratio, 80 * ratio);
  const sheet = document.createElement("canvas");
  sheet.width = width; sheet.height = height;
  const pen = sheet.getContext("2d");
  pen.fillStyle = colour(host, "card"); pen.fillRect(0, 0, width, height);
  pen.fillStyle = colour(host, "ink"); pen.font = `${15 * ratio}px Georgia, 'DejaVu Serif', serif`;
  pen.fillText(title, 20 * ratio, 28 * ratio, width - 40 * ratio);
  let at = 44 * ratio;
  pen.font = `${12 * ratio}px Georgia, 'DejaVu Serif', serif`;
  for (const one of charts) {
    pen.fillText(one.name, 20 * ratio, at + 14 * ratio);
    pen.drawImage(one.canvas, 20 * ratio, at + 20 * ratio);
    at += one.canvas.height + 34 * ratio;
  }
  pen.fillText(caution, 20 * ratio, height - 12 * ratio, width - 40 * ratio);
  sheet.toBlob((blob) => save("bench.png", blob));
}
