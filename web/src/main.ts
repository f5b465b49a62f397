import { mount } from "svelte";
import App from "./App.svelte";
import { t } from "./messages";
import "./app.css";

const target = document.getElementById("page");
if (target === null) throw new Error("The page has no place to go: index.html lacks #page.");
document.documentElement.lang = t.language;
mount(App, { target });
