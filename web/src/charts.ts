// Draws each declared chart; the interpreter lets it run without evaluating text as code.
import { expressionInterpreter } from "vega-interpreter";
import embed, { type VisualizationSpec } from "vega-embed";

/** Draw every element that carries a chart specification as JSON in `data-chart`. */
export async function drawCharts(root: ParentNode): Promise<void> {
  for (const place of root.querySelectorAll<HTMLElement>("[data-chart]")) {
    const spec = JSON.parse(place.dataset["chart"] ?? "") as VisualizationSpec;
    await embed(place, spec, { actions: false, ast: true, defaultStyle: false, expr: expressionInterpreter, renderer: "svg" });
  }
}
