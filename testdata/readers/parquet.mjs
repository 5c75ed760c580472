// Reads a Parquet file with hyparquet and prints rows, metadata and schema as JSON:
// node parquet.mjs FILE, from a folder with node_modules. Whole numbers become
// text, since JSON has no 64 bits.
import { readFileSync } from "node:fs"
import { createRequire } from "node:module"
import { pathToFileURL } from "node:url"

const load = (name) => import(pathToFileURL(createRequire(process.cwd() + "/").resolve(name)))
const { parquetMetadata, parquetReadObjects } = await load("hyparquet")
const { compressors } = await load("hyparquet-compressors")

const bytes = readFileSync(process.argv[2])
const file = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength)
const metadata = parquetMetadata(file)
const rows = await parquetReadObjects({ file, compressors })
const text = (_, v) => (typeof v === "bigint" ? v.toString() : v instanceof Float32Array ? Array.from(v) : v)
process.stdout.write(JSON.stringify({ rows, keys: metadata.key_value_metadata, schema: metadata.schema,
  groups: metadata.row_groups.length }, text))
