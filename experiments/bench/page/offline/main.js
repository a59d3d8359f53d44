// Unpack what the page brings, and show the figure; inside another page, tell it how tall this one is.
import { make } from "../parts/make.js";
import { unpack } from "../parts/wire.js";
import { Figure } from "./figure.js";
import { instance } from "./loop.js";

async function bytes(id) {
  const text = atob(document.getElementById(id).textContent.trim());
  const packed = new Blob([Uint8Array.from(text, (c) => c.charCodeAt(0))]);
  return new Response(packed.stream().pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
}

async function begin(host) {
  if (!("DecompressionStream" in window)) throw new Error("this browser cannot unpack the figure's data; one of 2023 or later can");
  const [data, once, twice] = await Promise.all(["data", "once", "twice"].map(bytes));
  const { head, curves } = unpack(data);
  window.figure = new Figure(host, head, curves, await instance(once, twice));
}

// A frame that is out of sight is not laid out until it is seen: its height is told again then.
function tellHeight() { if (parent !== window) parent.postMessage({ liveHeight: document.documentElement.scrollHeight }, "*"); }

const host = document.getElementById("figure");
begin(host).catch((error) => host.append(make("p", { class: "state trouble", role: "alert" }, `The live figure cannot run here: ${error.message}`))).then(tellHeight);
new ResizeObserver(tellHeight).observe(document.body);
