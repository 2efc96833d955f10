// Charts that only show what the server sent.

import { mount } from "./chart.js";

for (const element of document.querySelectorAll("[data-chart]")) mount(element);
