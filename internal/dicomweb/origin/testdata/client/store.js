// Stores files by a client of others: store.js URL TOKEN STUDY FILE...
const fs = require('fs');
global.XMLHttpRequest = require('xhr2');
const {api} = require('dicomweb-client');

const [url, token, studyInstanceUID, ...files] = process.argv.slice(2);
const client = new api.DICOMwebClient({url, headers: {Authorization: 'Bearer ' + token}});
const datasets = files.map((name) => {
  const b = fs.readFileSync(name);
  return b.buffer.slice(b.byteOffset, b.byteOffset + b.length);
});
const instances = (answer, tag) => ((answer[tag] || {}).Value || []).map((item) => item['00081155'].Value[0]);

client.storeInstances({studyInstanceUID, datasets}).then((answer) => {
  if (typeof answer === 'string') answer = JSON.parse(answer);
  console.log('stored ' + instances(answer, '00081199') + ' refused ' + instances(answer, '00081198').length);
}).catch((err) => {
  console.error('not stored: ' + (err.status || '') + ' ' + (err.message || err));
  process.exit(1);
});
