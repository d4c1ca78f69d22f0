// What every script of this folder begins and ends with: its argument, the browser, the answer.
// It never judges: the test that starts a script reads the JSON that it prints.
'use strict'
const { createRequire } = require('node:module')
const { readFileSync } = require('node:fs')
const { join } = require('node:path')

// The one argument is JSON; `tools` in it is where the browser's tools are installed.
const given = JSON.parse(process.argv[2])
const tools = createRequire(join(given.tools, 'package.json'))
const { chromium } = tools('playwright-core')

// The rules of accessibility, to be put into a page.
const axe = () => readFileSync(tools.resolve('axe-core/axe.min.js'), 'utf8')

// Does the work in a browser and prints what it gives.
async function drive (work) {
  const browser = await chromium.launch({
    executablePath: given.chromium,
    args: ['--no-sandbox', '--disable-dev-shm-usage']
  })
  const found = await work(browser)
  await browser.close()
  console.log(JSON.stringify(found))
}

module.exports = {
  given,
  axe,
  drive: work => drive(work).catch(error => { console.error(error); process.exit(1) })
}
