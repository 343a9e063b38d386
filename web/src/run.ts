// The run page. It is kept by the browser for a week without any data in it, and finds the data on this device.
import { RunPage } from "./run/page";
import { part } from "./run/parts";
import { theme, watchTheme } from "./theme";

watchTheme(document);
part("theme").textContent = theme() === "night" ? "Day" : "Night";

const trial = Number(/\/trials\/(\d+)\/run$/.exec(location.pathname)?.[1]);
part<HTMLAnchorElement>("away").href = "crew" in document.documentElement.dataset ? "/" : `/trials/${trial}`;
void new RunPage(trial).begin();
