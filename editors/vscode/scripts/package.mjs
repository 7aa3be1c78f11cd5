// Packs the extension into ripieno-VERSION.vsix: a zip file with a manifest, as editors install it.
// The same sources give the same bytes.

import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from "node:fs";
import { join, posix } from "node:path";
import { fileURLToPath } from "node:url";

import { strToU8, zipSync } from "fflate";

const folder = fileURLToPath(new URL("..", import.meta.url));
const output = process.argv[2] ?? folder;
const text = (path) => readFileSync(join(folder, path), "utf8");
const about = JSON.parse(text("package.json"));

/** All files below a folder of the extension. */
const below = (path) =>
    readdirSync(join(folder, path), { withFileTypes: true })
        .sort((one, other) => (one.name < other.name ? -1 : 1))
        .flatMap((entry) =>
            entry.isDirectory() ? below(posix.join(path, entry.name)) : [posix.join(path, entry.name)]);

/** What the extension needs when it runs. */
const files = [
    "README.md", "language-configuration.json", "dist/extension.js", ...["snippets", "syntaxes"].flatMap(below),
];

// Fields that only serve building do not travel.
const { devDependencies, scripts, private: unpublished, ...shipped } = about;

/** The licences of the packages whose code is in the bundle, as they ask for. */
function notices() {
    const inputs = Object.keys(JSON.parse(text("dist/bundle.json")).inputs);
    const packages = new Set(inputs.flatMap((path) => /^.*node_modules\/((?:@[^/]+\/)?[^/]+)/.exec(path)?.slice(0, 1) ?? []));
    return [...packages].sort().map((path) => {
        const { name, version, license } = JSON.parse(text(`${path}/package.json`));
        const file = readdirSync(join(folder, path)).find((file) => /^licen[cs]e/i.test(file));
        if (!file) {
            throw new Error(`${name} has no licence file`);
        }
        return `${name} ${version} (${license})\n\n${text(`${path}/${file}`).trim()}\n`;
    }).join(`\n${"-".repeat(80)}\n\n`);
}

if (!existsSync(join(folder, "dist/extension.js"))) {
    console.error("dist/extension.js is missing: run `npm run package`, which bundles first.");
    process.exit(1);
}

const escape = (words) => words.replace(/[&<>"]/g, (sign) => `&#${sign.codePointAt(0)};`);
const manifest = `<?xml version="1.0" encoding="utf-8"?>
<PackageManifest Version="2.0.0" xmlns="http://schemas.microsoft.com/developer/vsx-schema/2011">
  <Metadata>
    <Identity Language="en-US" Id="${escape(about.name)}" Version="${escape(about.version)}" Publisher="${escape(about.publisher)}"/>
    <DisplayName>${escape(about.displayName)}</DisplayName>
    <Description xml:space="preserve">${escape(about.description)}</Description>
    <Tags>${escape(about.keywords.join(","))}</Tags>
    <Categories>${escape(about.categories.join(","))}</Categories>
    <License>extension/LICENSE.txt</License>
    <Properties>
      <Property Id="Microsoft.VisualStudio.Code.Engine" Value="${escape(about.engines.vscode)}"/>
    </Properties>
  </Metadata>
  <Installation>
    <InstallationTarget Id="Microsoft.VisualStudio.Code"/>
  </Installation>
  <Dependencies/>
  <Assets>
    <Asset Type="Microsoft.VisualStudio.Code.Manifest" Path="extension/package.json" Addressable="true"/>
    <Asset Type="Microsoft.VisualStudio.Services.Content.Details" Path="extension/README.md" Addressable="true"/>
    <Asset Type="Microsoft.VisualStudio.Services.Content.License" Path="extension/LICENSE.txt" Addressable="true"/>
  </Assets>
</PackageManifest>
`;
const types = `<?xml version="1.0" encoding="utf-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
  <Default Extension="json" ContentType="application/json"/>
  <Default Extension="js" ContentType="application/javascript"/>
  <Default Extension="md" ContentType="text/markdown"/>
  <Default Extension="txt" ContentType="text/plain"/>
  <Default Extension="vsixmanifest" ContentType="text/xml"/>
</Types>
`;

const entries = {
    "extension.vsixmanifest": strToU8(manifest),
    "[Content_Types].xml": strToU8(types),
    "extension/package.json": strToU8(`${JSON.stringify(shipped, null, 2)}\n`),
    "extension/LICENSE.txt": strToU8(readFileSync(join(folder, "../../LICENSE"), "utf8")),
    "extension/NOTICES.txt": strToU8(notices()),
    ...Object.fromEntries(files.map((file) => [`extension/${file}`, new Uint8Array(readFileSync(join(folder, file)))])),
};
mkdirSync(output, { recursive: true });
const target = join(output, `${about.name}-${about.version}.vsix`);
// Zip files know no time before 1980; a fixed one keeps the bytes the same.
writeFileSync(`${target}.new`, zipSync(entries, { level: 9, mtime: new Date(1980, 0, 1, 12) }));
renameSync(`${target}.new`, target);
console.log(`${target}: ${Object.keys(entries).length} files`);
