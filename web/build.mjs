// Bundles web/src into one flat folder: node build.mjs OUT
//
// Every file name carries a hash of its content, so it may be cached for ever; manifest.json maps the plain names
// (app.js, app.css, charts.js) to those files. third-party-licences.txt holds the licence of every package bundled.
import { build } from "esbuild";
import { mkdir, readFile, readdir, writeFile } from "node:fs/promises";
import path from "node:path";
import process from "node:process";
import { fileURLToPath } from "node:url";

const here = path.dirname(fileURLToPath(import.meta.url));
const out = path.resolve(process.argv[2] ?? path.join(here, "../src/truemile/static/app"));
const entryPoints = ["src/app.ts", "src/app.css", "src/charts.ts", "src/crew.ts", "src/early.ts", "src/run.ts", "src/run.css"];

// Every browser that runs these modules reads woff2, so the older copy of each font stays out.
const newestFontsOnly = {
  name: "newest-fonts-only",
  setup(bundler) {
    bundler.onLoad({ filter: /@fontsource[\\/].*\.css$/ }, async ({ path: file }) => ({
      contents: (await readFile(file, "utf8")).replace(/,\s*url\([^)]*\.woff\)\s*format\('woff'\)/g, ""),
      loader: "css",
    }));
  },
};

function manifestOf(outputs) {
  const manifest = {};
  for (const [file, { entryPoint }] of Object.entries(outputs)) {
    if (entryPoint) manifest[path.basename(entryPoint).replace(/\.ts$/, ".js")] = path.basename(file);
  }
  return Object.fromEntries(Object.entries(manifest).sort());
}

function packageFolder(input) {
  const parts = input.split("/");
  const at = parts.lastIndexOf("node_modules");
  if (at < 0) return undefined;
  return parts.slice(0, at + (parts[at + 1].startsWith("@") ? 3 : 2)).join("/");
}

async function licenceOf(folder) {
  const { name, version, license } = JSON.parse(await readFile(path.join(here, folder, "package.json"), "utf8"));
  const files = (await readdir(path.join(here, folder))).filter((file) => /^(licen[cs]e|copying|notice)/i.test(file)).sort();
  const texts = await Promise.all(files.map((file) => readFile(path.join(here, folder, file), "utf8")));
  const body = texts.length ? texts.map((text) => text.trim()).join("\n\n") : "(the package carries no licence file)";
  return `${name} ${version}: ${license}\n\n${body}\n`;
}

async function licencesOf(inputs) {
  const folders = [...new Set(Object.keys(inputs).map(packageFolder).filter(Boolean))].sort();
  const texts = await Promise.all(folders.map(licenceOf));
  return texts.join(`\n${"-".repeat(80)}\n\n`);
}

await mkdir(out, { recursive: true });
const { metafile } = await build({
  absWorkingDir: here,
  assetNames: "[name]-[hash]",
  bundle: true,
  chunkNames: "[name]-[hash]",
  entryNames: "[name]-[hash]",
  entryPoints,
  format: "esm",
  legalComments: "linked",
  loader: { ".woff2": "file", ".svg": "file" },
  logLevel: "warning",
  metafile: true,
  minify: true,
  outdir: out,
  plugins: [newestFontsOnly],
  splitting: true,
  target: "es2022",
});
await writeFile(path.join(out, "third-party-licences.txt"), await licencesOf(metafile.inputs));
await writeFile(path.join(out, "manifest.json"), `${JSON.stringify(manifestOf(metafile.outputs), null, 2)}\n`);
