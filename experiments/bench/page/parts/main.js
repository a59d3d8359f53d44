// The page in a browser: the sheet, a websocket, and the address that holds the state.
import { socketLine } from "./live.js";
import { Sheet } from "./sheet.js";
import { address, readAddress } from "./state.js";

// the key was in the address only to open the page; a cookie has it now
const start = location.hash;
history.replaceState(null, "", `/${start}`);

const sheet = new Sheet(
  document.getElementById("bench"), socketLine,
  (state) => history.replaceState(null, "", address(state)),
  (rigs) => readAddress(start, rigs),
  document,
);
window.addEventListener("hashchange", () => {
  sheet.state.change({ everything: true }, () => { sheet.state.now = readAddress(location.hash, sheet.known.rigs.map((rig) => rig.name)); });
});
