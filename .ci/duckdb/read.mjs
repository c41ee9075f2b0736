// Prints what DuckDB reads from every Parquet file below a folder, as one JSON
// object: path → {names, types, count, metadata, columns}. Columns are lists
// of texts (null for a gap), so that neither doubles nor 64-bit integers nor
// decimals lose a digit on their way.
//
//   node read.mjs FOLDER
import { readdirSync } from "node:fs";
import { join, relative, sep } from "node:path";
import { DuckDBInstance, version } from "@duckdb/node-api";

// text is a value without loss: JavaScript prints the shortest digits that give
// the same double back, but drops the sign of a negative zero.
function text(v) {
  if (v === null) return null;
  return Object.is(v, -0) ? "-0" : String(v);
}

const folder = process.argv[2];
if (!folder || process.argv.length !== 3) {
  console.error("usage: node read.mjs FOLDER");
  process.exit(2);
}
const files = readdirSync(folder, { recursive: true, withFileTypes: true })
  .filter((e) => e.isFile() && e.name.endsWith(".parquet"))
  .map((e) => join(e.parentPath ?? e.path, e.name))
  .sort();

// Extensions would come from outside the package; Parquet is built in.
const db = await DuckDBInstance.create(":memory:", {
  autoinstall_known_extensions: "false",
  autoload_known_extensions: "false",
});
const connection = await db.connect();
const quoted = (file) => "'" + file.replaceAll("'", "''") + "'";
const found = {};
for (const file of files) {
  const rows = await connection.runAndReadAll(`SELECT * FROM read_parquet(${quoted(file)})`);
  const count = await connection.runAndReadAll(`SELECT count(*)::VARCHAR FROM read_parquet(${quoted(file)})`);
  const pairs = await connection.runAndReadAll(
    `SELECT decode(key), decode(value) FROM parquet_kv_metadata(${quoted(file)})`,
  );
  const columns = rows.columnNames().map(() => []);
  for (const row of rows.getRows()) row.forEach((v, i) => columns[i].push(text(v)));
  found[relative(folder, file).split(sep).join("/")] = {
    names: rows.columnNames(),
    types: rows.columnTypes().map(String),
    count: Number(count.getRows()[0][0]),
    metadata: pairs.getRows(),
    columns,
  };
}
console.log(JSON.stringify({ duckdb: version(), files: found }));
