// The sheet in a notebook: messages go through the widget's model instead of a websocket.
import { Sheet } from "./sheet.js";
import { fresh } from "./state.js";
import { unpack } from "./wire.js";

function modelLine(model) {
  return (told) => {
    const arrived = (content, buffers) => {
      const view = buffers[0];
      if (view) told.message(unpack(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength)));
    };
    model.on("msg:custom", arrived);
    return { send: (text) => { model.send({ text }); return true; } };
  };
}

function render({ model, el }) {
  const own = document.createElement("div");
  el.append(own);
  let telling = false;
  const settled = (state) => {
    telling = true;
    model.set("rig", state.rig);
    model.set("settings", { ...state.settings });
    model.save_changes();
    telling = false;
  };
  const wanted = () => ({ ...fresh(model.get("rig")), settings: { ...model.get("settings") } });
  const sheet = new Sheet(own, modelLine(model), settled, wanted);
  const set = () => {
    if (telling || !sheet.state) return;
    const now = sheet.state.now, settings = model.get("settings");
    if (now.rig === model.get("rig") && JSON.stringify(now.settings) === JSON.stringify(settings)) return;
    sheet.state.change({ everything: true }, (state) => { state.rig = model.get("rig"); state.settings = { ...settings }; });
  };
  model.on("change:rig", set);
  model.on("change:settings", set);
  model.send({ text: JSON.stringify({ slot: "begin" }) });
}

export default { render };
