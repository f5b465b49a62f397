import { mount } from "svelte";
import App from "./App.svelte";
import "./app.css";

const target = document.getElementById("page");
if (target === null) throw new Error("The page has no place to go: index.html lacks #page.");
mount(App, { target });
