// Looks at pages as a person does, in each language and at two sizes, and prints what was found.
// It never judges: the test that starts it reads the JSON. Its one argument is JSON:
// { base, tools, out, name, password, pages: [{ name, path, print }], languages }.
'use strict'
const { mkdirSync } = require('node:fs')
const { join } = require('node:path')
const { gzipSync } = require('node:zlib')
const { given, axe, drive } = require('./driver.cjs')

const RULEBOOK = axe()
const SIZES = { desk: { width: 1440, height: 900 }, tablet: { width: 1024, height: 768 } }
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']
const TOUCH = 'button, a.button, select, textarea, summary, header nav a, label.choice, ' +
  'input:not([type=hidden]):not([type=radio]):not([type=checkbox])'

// What a page says of itself: faults of accessibility, small targets, what spills sideways.
// The rules are the same at both sizes and slow, so they run once a language.
async function judge (page, withRules) {
  if (withRules) await page.evaluate(RULEBOOK)
  return page.evaluate(async ([rules, touch]) => {
    const options = { runOnly: { type: 'tag', values: rules }, resultTypes: ['violations'] }
    const run = rules.length ? await window.axe.run(document, options) : { violations: [] }
    const faults = run.violations.map(v =>
      `${v.id}: ${v.help}: ${v.nodes.map(n => n.target.join(' ')).slice(0, 5).join(', ')}`)
    const seen = Array.from(document.querySelectorAll(touch)).filter(e => e.checkVisibility())
    const small = seen.filter(e => e.getBoundingClientRect().height < 47.5)
      .map(e => `${e.tagName} ${e.textContent.trim() || e.id}`)
    const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth
    return { faults, small, wide, lang: document.documentElement.lang, title: document.title }
  }, [withRules ? RULES : [], TOUCH])
}

async function look (browser, language) {
  const context = await browser.newContext({ viewport: SIZES.desk, locale: language })
  const page = await context.newPage()
  const noise = []
  page.on('console', message => { if (message.type() === 'error' && !/status of 4/.test(message.text())) noise.push(message.text()) })
  page.on('pageerror', error => noise.push(String(error)))
  const results = []
  // The page is asked for once, and seen at both sizes.
  const keep = async (name, packed) => {
    for (const size of Object.keys(SIZES)) {
      await page.setViewportSize(SIZES[size])
      const file = join(given.out, `${name}.${language}.${size}.png`)
      await page.screenshot({ path: file, fullPage: true })
      const found = await judge(page, size === 'desk')
      results.push({ page: name, language, size, packed, ...found })
    }
  }
  let bytes = 0
  page.on('response', async answer => {
    if (answer.url().endsWith('/live')) return
    bytes += (await answer.body().catch(() => '')).length
  })
  await page.goto(given.base + '/sign-in')
  await page.waitForLoadState('networkidle')
  const firstBytes = bytes
  await keep('sign-in', firstBytes)
  await page.getByLabel(language === 'es' ? 'Nombre' : 'Name').fill(given.name)
  await page.locator('#password').fill(given.password)
  await page.keyboard.press('Enter')
  await page.waitForURL(given.base + '/')
  if (language !== 'en') {
    await page.locator(`form.languages button[value=${language}]`).click()
    await page.waitForSelector(`html[lang=${language}]`)
  }
  for (const one of given.pages) {
    const answer = await page.goto(given.base + one.path)
    await keep(one.name, gzipSync(await answer.body()).length)
    if (one.print) {
      await page.pdf({ path: join(given.out, `${one.name}.${language}.pdf`), format: 'Letter' })
    }
  }
  const cookies = await context.cookies()
  await context.close()
  return { results, noise, firstBytes, cookies }
}

drive(async browser => {
  mkdirSync(given.out, { recursive: true })
  const all = []
  for (const language of given.languages) all.push(await look(browser, language))
  return all
})
