import js from "@eslint/js";
import svelte from "eslint-plugin-svelte";
import globals from "globals";
import ts from "typescript-eslint";
import svelteConfig from "./svelte.config.js";

export default ts.config(
  { ignores: ["dist", "node_modules", "src/api/types.ts"] },
  js.configs.recommended,
  ...ts.configs.strict,
  ...ts.configs.stylistic,
  ...svelte.configs.recommended,
  { languageOptions: { globals: { ...globals.browser, ...globals.node } } },
  {
    files: ["**/*.svelte", "**/*.svelte.ts"],
    languageOptions: {
      parserOptions: { extraFileExtensions: [".svelte"], parser: ts.parser, svelteConfig },
    },
  },
  {
    rules: {
      "no-console": "error",
      // The page has its own small router; there is no kit to resolve addresses.
      "svelte/no-navigation-without-resolve": "off",
    },
  },
);
