// The base script of every page: brings the chart code only to a page that has a chart.
if (document.querySelector("[data-chart]")) {
  const { drawCharts } = await import("./charts");
  await drawCharts(document);
}
