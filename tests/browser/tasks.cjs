// Does the commonest tasks of a line supervisor as a person would, and counts what each takes.
// It never judges: the test that starts it reads the JSON. Its one argument is JSON:
// { base, tools, chromium, name, password, codes: { batch, meat, finished } }.
// Touches are taps on the screen, its keypad included; keys are letters typed into a field. The
// seconds are those of the machine: how long its pages made somebody wait.
'use strict'
const { given, drive } = require('./driver.cjs')

drive(async browser => {
  const context = await browser.newContext({ viewport: { width: 1024, height: 768 }, locale: 'en' })
  const page = await context.newPage()
  const tasks = []
  let now
  const task = async (name, work) => {
    now = { name, touches: 0, keys: 0 }
    const begun = process.hrtime.bigint()
    now.ends = await work()
    now.seconds = Number(process.hrtime.bigint() - begun) / 1e9
    tasks.push(now)
  }
  const tap = async place => { now.touches += 1; await place.click() }
  const type = async (place, text) => { await tap(place); now.keys += text.length; await place.fill(text) }
  const link = name => page.getByRole('link', { name })
  const button = name => page.getByRole('button', { name })
  const way = name => page.getByRole('navigation', { name: 'Ways on' }).getByRole('link', { name })
  const keypad = async value => {
    for (const key of value) await tap(page.locator(`[data-key="${key}"]`))
  }
  const seen = async place => { await place.first().waitFor(); return place.first().innerText() }

  await page.goto(given.base + '/sign-in')
  await task('sign in, and a reading that is met', async () => {
    await type(page.getByLabel('Name'), given.name)
    await type(page.locator('#password'), given.password)
    await tap(button('Sign in'))
    await tap(way('Enter a reading'))
    await tap(link(new RegExp(`^${given.codes.batch}`)))
    await tap(link(/^Q-1/))
    await tap(page.getByLabel(/^T-03/))
    await keypad('38.9')
    await tap(button(/^Record$/))
    return seen(page.locator('.verdict'))
  })
  await task('look what is due', async () => {
    await tap(way('Today'))
    await tap(link(/^Look at/))
    return seen(page.locator('.due'))
  })
  await task('pull racks', async () => {
    await tap(way('Today'))
    await tap(page.getByRole('rowheader').getByRole('link', { name: 'House 1' }))
    await tap(button('Pull the ticked racks now'))
    return seen(page.getByText('racks are in the house'))
  })
  await task('find a lot, and see whether it may ship', async () => {
    await tap(way('Today'))
    await type(page.getByLabel('Lot code'), given.codes.finished)
    await tap(button('Find'))
    return seen(page.locator('.summary a[href="#review"]'))
  })
  // What T-03 shows too much is taken off: 44.7 is judged, and told, as 44.3.
  // A page is open on another tablet meanwhile, and nobody touches it.
  const elsewhere = await browser.newContext({ viewport: { width: 1024, height: 768 }, locale: 'en' })
  await elsewhere.addCookies(await context.cookies())
  const day = await elsewhere.newPage()
  await day.goto(given.base + '/')
  const before = await day.locator('#day-now').innerText()
  await task('a reading that fails, to its deviation', async () => {
    await tap(way('Enter a reading'))
    await type(page.getByLabel('Lot code'), given.codes.meat)
    await tap(button('Find'))
    await tap(link(/^R-1/))
    await tap(page.getByLabel(/^T-03/))
    await keypad('44.7')
    await tap(button(/^Record$/))
    await tap(link('Its deviation'))
    return seen(page.locator('.deviation'))
  })
  await day.waitForFunction(
    () => document.querySelector('#day-now').textContent.includes('44.3'), null, { timeout: 120000 })
  const moved = !before.includes('44.3')
  return { tasks, moved }
})
