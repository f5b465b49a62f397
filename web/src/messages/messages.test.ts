/** No words beside the message files: looked for in the sources here, and on drawn screens by e2e/words.e2e.ts. */
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { parse } from "svelte/compiler";
import ts from "typescript";
import { describe, expect, test } from "vitest";
import { en } from "./en";
import { CLOSE, OPEN, pseudo, pseudoText } from "./pseudo";

const SOURCES = fileURLToPath(new URL("..", import.meta.url));
const files = (folder: string, end: string): string[] =>
  readdirSync(join(SOURCES, folder)).filter((name) => name.endsWith(end) && !name.endsWith(".test.ts")).map((name) => join(folder, name));

/** Attributes that people read or hear. */
const READ = new Set(["aria-label", "aria-description", "alt", "title", "placeholder", "label", "action", "empty"]);
/** Strings that are no message: the product, keys of the keyboard, the name of a class, and what the server calls a region. */
const SAME = new Set(["Serrata", "Enter", "Backspace", "Failure", "late brightening"]);

interface Node {
  type: string;
  [key: string]: unknown;
}

const isNode = (value: unknown): value is Node => typeof value === "object" && value !== null && typeof (value as Node).type === "string";

function children(node: Node): Node[] {
  return Object.entries(node).filter(([key]) => key !== "metadata").flatMap(([, value]) => (Array.isArray(value) ? value.filter(isNode) : isNode(value) ? [value] : []));
}

/** Whether people would read it as words: two letters in a row. */
const wordy = (text: string): boolean => /\p{L}{2}/u.test(text) && !SAME.has(text.trim());
/** Whether a string of code looks like a sentence or a label: a capital first, or words with a space between. */
const sentence = (text: string): boolean => !SAME.has(text) && (/^\p{Lu}\p{Ll}+($|[ ,.:])/u.test(text) || /\p{L}{2,} \p{L}{2,}/u.test(text));

/** Words written in the markup of a component: its text, the attributes that are read, and strings of its expressions. */
function bareMarkup(source: string): string[] {
  const out: string[] = [];
  const walk = (node: Node): void => {
    if (node.type === "StyleDirective") return;
    if (node.type === "Attribute") {
      const parts = (Array.isArray(node["value"]) ? node["value"] : [node["value"]]).filter(isNode);
      if (READ.has(String(node["name"]))) for (const part of parts) if (part.type === "Text" && wordy(String(part["data"]))) out.push(String(part["data"]));
      for (const part of parts) if (part.type !== "Text" && (READ.has(String(node["name"])) || String(node["name"]).startsWith("on"))) walk(part);
      return;
    }
    if (node.type === "Text" && wordy(String(node["data"]))) out.push(String(node["data"]).trim());
    if (node.type === "Literal" && typeof node["value"] === "string" && sentence(node["value"])) out.push(node["value"]);
    if (node.type === "TemplateElement") {
      const text = String((node["value"] as { cooked: string }).cooked);
      if (sentence(text)) out.push(text);
    }
    for (const child of children(node)) walk(child);
  };
  walk(parse(source, { modern: true }).fragment as unknown as Node);
  return out;
}

/** Sentences written in code. What an error says to developers is theirs. */
function bareCode(source: string): string[] {
  const out: string[] = [];
  const walk = (node: ts.Node): void => {
    if (ts.isNewExpression(node) && node.expression.getText() === "Error") return;
    if (ts.isImportDeclaration(node) || ts.isTypeNode(node)) return;
    if ((ts.isStringLiteralLike(node) || ts.isTemplateHead(node) || ts.isTemplateMiddleOrTemplateTail(node)) && sentence(node.text)) out.push(node.text);
    ts.forEachChild(node, walk);
  };
  walk(ts.createSourceFile("page.ts", source, ts.ScriptTarget.Latest, true));
  return out;
}

const script = (source: string): string => /<script[^>]*>([\s\S]*?)<\/script>/.exec(source)?.[1] ?? "";

describe("words stand in the message file alone", () => {
  const components = ["App.svelte", ...files("parts", ".svelte"), ...files("screens", ".svelte")];
  test.each(components)("%s", (name) => {
    const source = readFileSync(join(SOURCES, name), "utf8");
    expect(bareMarkup(source)).toEqual([]);
    expect(bareCode(script(source))).toEqual([]);
  });

  // A program for the graphics card is code in a string.
  const modules = [...files("lib", ".ts"), ...files("api", ".ts")].filter((name) => !/(shader|types)\.ts$/.test(name));
  test.each(modules)("%s", (name) => {
    expect(bareCode(readFileSync(join(SOURCES, name), "utf8"))).toEqual([]);
  });

  test("and would be found", () => {
    expect(bareMarkup('<p>Send it</p><img alt="An eye" /><b>{a ? "Not yet" : `${n} of them all`}</b>')).toEqual(["Send it", "An eye", "Not yet", " of them all"]);
    expect(bareMarkup('<p class="big">{t.app.send} · 3</p><svg d="M0 0V5" />')).toEqual([]);
    expect(bareCode('import x from "A b c"; const a = "Send it now"; throw new Error("No such thing");')).toEqual(["Send it now"]);
    expect(bareCode('const key = "not_done", path = `/visits/${id}/dye`;')).toEqual([]);
  });
});

describe("the language that nobody speaks", () => {
  test("wraps texts and what functions answer, and keeps the tree", () => {
    const odd = pseudo(en);
    expect(odd.app.send).toBe(`${OPEN}Šéñd${CLOSE}`);
    expect(odd.day.views(2, 3)).toBe(pseudoText("Views: 2 met, 3 due"));
    expect(odd.dates.months).toHaveLength(12);
    expect(Object.keys(odd)).toEqual(Object.keys(en));
  });
});
