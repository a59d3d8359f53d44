"""The widget's module in Chromium, with a model that hands messages to Python and back as a notebook does [seen]."""
import base64
import contextlib

from experiments.bench import bundle
from experiments.bench.replies import Replies
from tests.experiments.bench.helper import SETUP

HOLD = """async ([code, style]) => {
  const sheet = document.createElement("style"); sheet.textContent = style; document.head.append(sheet);
  const module = await import(URL.createObjectURL(new Blob([code], { type: "text/javascript" })));
  const values = { rig: "wrist", settings: {} }, heard = {};
  window.model = {
    get: (name) => values[name], set: (name, value) => { values[name] = value; }, save_changes: () => {},
    on: (name, act) => { (heard[name] ??= []).push(act); }, send: (content) => window.toPython(content.text),
    fromPython: (name, value) => { values[name] = value; for (const act of heard[`change:${name}`]) act(); },
  };
  window.arrived = (text) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    for (const act of heard["msg:custom"]) act({}, [new DataView(bytes.buffer)]);
  };
  module.default.render({ model: window.model, el: document.body });
}"""


def test_the_widget_answers_and_its_settings_go_both_ways(chromium):
    with contextlib.closing(chromium.new_context()) as context:
        page, complaints, answers = context.new_page(), [], []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        replies = Replies(SETUP, answers.append)
        page.expose_function("toPython", lambda text: replies.receive(text))
        page.goto("about:blank")
        page.evaluate(HOLD, [bundle.script(bundle.PAGE / "parts" / "notebook.js"), bundle.style()])

        def until(wanted):
            for _ in range(600):
                while answers:
                    page.evaluate("(text) => window.arrived(text)", base64.b64encode(answers.pop(0)).decode())
                if page.evaluate(wanted):
                    return
                page.wait_for_timeout(100)
            raise TimeoutError(wanted)

        until("() => Boolean(document.querySelector('[aria-label=Limits] td.found'))")
        page.locator("#k-controller-kp").fill("0.03")
        page.locator("#k-controller-kp").press("Enter")
        until("() => window.model.get('settings')['controller.kp'] === 0.03")
        page.evaluate("() => window.model.fromPython('settings', { 'controller.kp': 0.015 })")
        until("() => document.querySelector('#k-controller-kp').value === '0.015'")
        replies.close()
    assert not complaints
