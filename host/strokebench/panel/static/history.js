// A view of what is over: a run, or two of them.

import { View } from "./instrument.js";

const view = new View(document.querySelector("[data-strips]"));
document.view = view; // for whoever looks from the console
view.show(...view.extent);
