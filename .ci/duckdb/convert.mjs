// Converts recordings from CSV to Parquet with DuckDB, as a yardstick for the
// program's own ingest, and prints the wall and processor seconds that the conversion
// took, the start of node left out.
//
//   node convert.mjs THREADS each|glob OUT COLUMNS CSV...
//
// COLUMNS are names with commas between, all declared as doubles. "each" converts file by file,
// "glob" all of them, given as a pattern, to one file.
import { join } from "node:path";
import { DuckDBInstance } from "@duckdb/node-api";

const [threads, how, out, columns, ...files] = process.argv.slice(2);
const db = await DuckDBInstance.create(":memory:", {
  threads,
  autoinstall_known_extensions: "false",
  autoload_known_extensions: "false",
});
const connection = await db.connect();
const quoted = (text) => "'" + text.replaceAll("'", "''") + "'";
const types = columns.split(",").map((c) => quoted(c) + ": 'DOUBLE'").join(", ");
const start = process.hrtime.bigint();
const before = process.cpuUsage();
for (const [i, file] of files.entries()) {
  await connection.run(
    `COPY (SELECT * FROM read_csv(${quoted(file)}, header = true, auto_detect = false, delim = ',', columns = {${types}})) ` +
      `TO ${quoted(join(out, i + ".parquet"))} (FORMAT parquet, COMPRESSION zstd)`,
  );
}
const cpu = process.cpuUsage(before);
console.log(
  JSON.stringify({
    wall: Number(process.hrtime.bigint() - start) / 1e9,
    cpu: (cpu.user + cpu.system) / 1e6,
    rss: process.resourceUsage().maxRSS * 1024,
  }),
);
