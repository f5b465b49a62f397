// `npm run mock` serves the built page over the mock clinic, for work on the page: http://127.0.0.1:8517
import { fileURLToPath } from "node:url";
import { runnerImport } from "vite";

const { module } = await runnerImport(fileURLToPath(new URL("./server.ts", import.meta.url)));
const mock = await module.startMock(fileURLToPath(new URL("../dist", import.meta.url)), 8517);
process.stdout.write(`${mock.address}\n`);
