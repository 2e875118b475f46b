// Prints, for each file named as an argument, the messages of Khronos' glTF validator as JSON.
const fs = require("node:fs");
const path = require("node:path");
const validator = require("gltf-validator");

async function messages(file) {
  const report = await validator.validateBytes(new Uint8Array(fs.readFileSync(file)), {
    uri: path.basename(file),
    maxIssues: 0,
    writeTimestamp: false,
    externalResourceFunction: async (uri) =>
      new Uint8Array(fs.readFileSync(path.resolve(path.dirname(file), decodeURIComponent(uri)))),
  });
  return report.issues.messages;
}

Promise.all(process.argv.slice(2).map(messages)).then(
  (found) => console.log(JSON.stringify(found)),
  (error) => {
    console.error(error);
    process.exit(1);
  },
);
