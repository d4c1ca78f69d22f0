// Reviews a lot and ships its pallet as people do: refused before the review, accepted after it, and
// the page of the shipment in the other language.
// It never judges: the test that starts it reads the JSON. Its one argument is JSON:
// { base, tools, chromium, name, password, label, customer }.
'use strict'
const { mkdirSync } = require('node:fs')
const { join } = require('node:path')
const { given, axe, drive } = require('./driver.cjs')

drive(async browser => {
  const context = await browser.newContext({ viewport: { width: 1024, height: 768 }, locale: 'en' })
  const page = await context.newPage()
  const button = name => page.getByRole('button', { name })
  const way = name => page.getByRole('navigation', { name: 'Ways on' }).getByRole('link', { name })
  const verdict = () => page.locator('.verdict').first().innerText()

  await page.goto(given.base + '/sign-in')
  await page.getByLabel('Name').fill(given.name)
  await page.locator('#password').fill(given.password)
  await button('Sign in').click()
  await way('Shipment').click()
  await page.getByLabel('Pallets as scanned').fill(given.label.toLowerCase())
  await button('Check').first().click()
  const refused = await page.locator('main').innerText()
  const offered = await button('Ship now').count()

  await way('Review').click()
  await page.getByRole('checkbox').first().check()
  await page.locator('#password').fill(given.password)
  await button('Sign the review').click()
  const signed = await page.locator('p.done').innerText()

  await way('Shipment').click()
  await page.getByRole('checkbox', { name: new RegExp(given.label) }).check()
  await button('Check').first().click()
  const clear = await verdict()
  mkdirSync(given.out, { recursive: true })
  await page.screenshot({ path: join(given.out, 'shipment-clear.en.tablet.png'), fullPage: true })
  await page.evaluate(axe())
  const faults = await page.evaluate(async () =>
    (await window.axe.run(document)).violations.map(v => `${v.id}: ${v.help}`))
  await page.getByLabel('Customer').selectOption({ label: given.customer })
  await page.getByLabel('Truck or trailer').fill('Trailer 11')
  await button('Ship now').click()
  await page.waitForURL(/\/shipments\//)
  const shipped = await page.locator('main').innerText()
  await button('Español').click()
  await page.waitForSelector('html[lang=es]')
  const spanish = await page.locator('h1').innerText()
  return { refused, offered, signed, clear, faults, shipped, spanish }
})
