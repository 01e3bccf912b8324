// Builds the page from its source: one script, one style, the words, and the licences of what the script carries.
import { build } from "esbuild";
import { cp, mkdir, readFile, readdir, rm, writeFile } from "node:fs/promises";

const out = process.argv[2] ?? "built";
await rm(out, { recursive: true, force: true });
await mkdir(`${out}/words`, { recursive: true });

const made = await build({
  entryPoints: ["source/main.ts"],
  outfile: `${out}/desk.js`,
  bundle: true,
  minify: true,
  format: "esm",
  target: "es2022",
  charset: "utf8",
  legalComments: "none",
  metafile: true,
  tsconfigRaw: "{}",
});
for (const name of ["desk.html", "desk.css", "icon.svg"]) await cp(`source/${name}`, `${out}/${name}`);

const words = JSON.parse(await readFile("source/words/en.json", "utf8"));
for (const language of ["en", "es"]) await cp(`source/words/${language}.json`, `${out}/words/${language}.json`);
await writeFile(`${out}/words/pseudo.json`, JSON.stringify(pseudo(words), null, 1) + "\n");

const packages = new Set();
for (const input of Object.keys(made.metafile.inputs)) {
  const found = /node_modules\/((?:@[^/]+\/)?[^/]+)\//.exec(input);
  if (found) packages.add(found[1]);
}
const licences = [];
for (const name of [...packages].sort()) {
  const folder = `node_modules/${name}`;
  const { version, license } = JSON.parse(await readFile(`${folder}/package.json`, "utf8"));
  const file = (await readdir(folder)).find((each) => /^licen[cs]e/i.test(each));
  licences.push(`${name} ${version} (${license})\n\n${file ? await readFile(`${folder}/${file}`, "utf8") : ""}`);
}
await writeFile(`${out}/licences.txt`, licences.join("\n----\n\n").replaceAll("\r", ""));

// Longer words in another direction, to see that nothing is clipped and nothing is left in English.
function pseudo(value) {
  if (typeof value !== "string") return Object.fromEntries(Object.entries(value).map(([key, part]) => [key, pseudo(part)]));
  const accents = { a: "á", e: "é", i: "í", o: "ó", u: "ú", c: "ç", n: "ñ", s: "š" };
  const long = value.replace(/\{\w+\}|[aeioucns]/g, (sign) => accents[sign] ?? sign);
  return `‹${long}${"~".repeat(Math.ceil(value.length * 0.35))}›`;
}
