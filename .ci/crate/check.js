// Reads an archived folder with the RO-Crate community's own library and rules:
//
//	node check.js FOLDER
//
// Exit code 1 where a rule is broken, or where a file and the metadata do not know of each other.
const fs = require('fs')
const path = require('path')

// The validator fetches the context by its address. Nothing is fetched here: the library brings the
// published context along.
const published = require('ro-crate/lib/context.json')
globalThis.fetch = async url => ({
  ok: url === 'https://w3id.org/ro/crate/1.2/context', statusText: 'not the context of RO-Crate 1.2', json: async () => published
})
const { Validator } = require('ro-crate')

async function main(folder) {
  const validator = new Validator()
  validator.parseJSON(fs.readFileSync(path.join(folder, 'ro-crate-metadata.json'), 'utf8'))
  await validator.validate()
  const files = {}
  for (const name of fs.readdirSync(folder, { recursive: true })) {
    const at = path.join(folder, name)
    const isDir = fs.statSync(at).isDirectory()
    // Folders are described by their files; what begins with a dot marks the folder for the program.
    if (!isDir && !name.startsWith('.')) files[name.split(path.sep).join('/')] = { exists: true, inCrate: false, isDir }
  }
  if (validator.crate) validator.checkFiles(files)
  const bad = validator.results.filter(r => r.status !== 'success')
  for (const r of bad) console.log(`${r.status}: ${r.entity || ''} ${r.message}`)
  console.log(`${Object.keys(files).length} files, ${validator.results.length - bad.length} rules held`)
  return bad.length === 0 && Object.keys(files).length > 1 ? 0 : 1
}

main(process.argv[2]).then(code => process.exit(code))
