// What turns the bench's sliders and notes when each picture is painted; `bench_speed.py` evaluates it in the page.
() => {
  const sheet = document.querySelector(".bench"), drawn = [];
  let sent = 0, wandering = false;  // what is noted of each picture would count as memory of the page
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (text) { sent = JSON.parse(text).number ?? sent; return send.call(this, text); };
  sheet.addEventListener("drawn", (event) => { if (!wandering) drawn.push([performance.now(), event.detail]); });
  const painted = () => new Promise((done) => requestAnimationFrame(() => { const c = new MessageChannel();
    c.port1.onmessage = done; c.port2.postMessage(0); }));
  const slider = (key) => document.querySelector(`#k-${key.replace(".", "-")}`).closest(".knob").querySelector("[type=range]");
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const next = async (before, quick) => { const begun = performance.now(); for (;;) { const found = drawn.find(([at, d]) => d.number > before && (quick || !d.quick));
    if (found) return found; if (performance.now() > begun + 30000) throw new Error("no picture came"); await wait(0); } };
  const set = (input, share) => { const { min, max } = input; input.value = Number(min) + share * (max - min);
    input.dispatchEvent(new Event("input", { bubbles: true })); };
  window.speed = {
    async moves(key, count, pause) {
      const input = slider(key), own = Number(input.value), { min, max } = input, base = (own - min) / (max - min), found = [];
      for (let i = 0; i < count; i++) {
        await wait(pause);
        input.dispatchEvent(new PointerEvent("pointerdown", { bubbles: true }));
        const begun = performance.now(), before = sent;
        set(input, base * (1 + 0.03 * (1 + i % 5) * (i % 2 ? 1 : -1)));
        await next(before, true); await painted();
        found.push(performance.now() - begun);
      }
      const rested = performance.now(), settled = sent;
      set(input, base); input.dispatchEvent(new Event("change", { bubbles: true }));
      await next(settled, false); await painted();
      return { found, full: performance.now() - rested };
    },
    async drag(key, steps) {
      const input = slider(key), own = Number(input.value), { min, max } = input, base = (own - min) / (max - min);
      await wait(1500);
      const before = drawn.length;
      input.dispatchEvent(new PointerEvent("pointerdown", { bubbles: true }));
      let last = 0, at = 0;
      for (let i = 0; i < steps; i++) { if (i) await wait(1000 / 60); last = performance.now(); at = sent; set(input, base * (1 + 0.2 * Math.sin(i / 6))); }
      const answered = drawn.length - before;
      await next(at, true); await painted();
      const lag = performance.now() - last;
      set(input, base); input.dispatchEvent(new Event("change", { bubbles: true }));
      return { lag, answered };
    },
    // Sliders turned at random, sixty times a second, until `stop`.
    wander() {
      let seed = 1;
      wandering = true;
      const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
      const sliders = [...document.querySelectorAll(".knob [type=range]")].slice(0, 4);
      const turning = setInterval(() => {
        const input = sliders[Math.floor(random() * sliders.length)];
        set(input, 0.3 + 0.4 * random());
        if (random() < 0.02) input.dispatchEvent(new Event("change", { bubbles: true }));
      }, 1000 / 60);
      this.stop = () => { clearInterval(turning); wandering = false; };
    },
  };
}
