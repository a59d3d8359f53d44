// The line to the server. Of each slot one request is under way and the newest waits; the line mends itself.
import { unpack } from "./wire.js";

const AGAIN_ms = [300, 700, 1500, 3000];

export function socketLine(told) {
  let socket = null, tries = 0;
  const address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`;
  const open = () => {
    socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => { tries = 0; told.open(); };
    socket.onmessage = (event) => told.message(unpack(event.data));
    socket.onclose = () => {
      told.lost();
      setTimeout(open, AGAIN_ms[Math.min(tries++, AGAIN_ms.length - 1)]);
    };
  };
  open();
  return { send: (text) => { if (socket.readyState === WebSocket.OPEN) { socket.send(text); return true; } return false; } };
}

export class Asking {
  constructor(makeLine, handlers) {
    this.handlers = handlers;          // slot: function of an answer
    this.underWay = new Map();         // slot: number of the request that is under way
    this.waiting = new Map();          // slot: the newest request behind it
    this.careful = new Set();          // slots whose request under way is no quick one: a quick one need not wait for it
    this.number = 0;
    this.onOpen = () => {};
    this.onLost = () => {};
    this.line = makeLine({
      open: () => { this.underWay.clear(); this.onOpen(); },
      lost: () => { this.underWay.clear(); this.onLost(); },
      message: (answer) => this.receive(answer),
    });
  }

  ask(slot, request) {
    if (this.underWay.has(slot) && !(request.dragging && this.careful.has(slot))) { this.waiting.set(slot, request); return; }
    const number = ++this.number;
    if (!this.line.send(JSON.stringify({ ...request, slot, number }))) { this.waiting.set(slot, request); return; }
    this.waiting.delete(slot);
    this.underWay.set(slot, number);
    if (request.dragging) this.careful.delete(slot); else this.careful.add(slot);
  }

  // Of work aside the server itself keeps only the newest: nothing waits here.
  askAside(slot, want, request) {
    const number = ++this.number;
    this.underWay.set(slot, number);
    this.line.send(JSON.stringify({ ...request, slot, number, want }));
    return number;
  }

  isNewest(slot, number) { return this.underWay.get(slot) === number; }

  receive(answer) {
    const { slot, number, want } = answer.head;
    const handler = this.handlers[slot];
    if (want !== undefined) {
      // a kernel is compiled at the server's own wish: no request of this slot was ever sent
      if (handler && (want === "compile" || this.isNewest(slot, number))) handler(answer);
      return;
    }
    if (this.underWay.get(slot) === number) this.underWay.delete(slot);
    const next = this.waiting.get(slot);
    if (next !== undefined && number !== undefined) {
      this.waiting.delete(slot);
      this.ask(slot, next);
    }
    if (handler) handler(answer);
  }
}
