// Keeps the parts of a page that are marked as live as they stand in the plant: when something was
// recorded, and each minute. It never touches a form in which somebody has begun. Without this
// script the link to load the page again does the same.
'use strict'
const LEAST = 3000
const MOST = 60000
const lost = document.querySelector('[data-lost]')
let last = Date.now()
let waits = 0
const isBegun = field => field.type === 'checkbox' || field.type === 'radio'
  ? field.checked !== field.defaultChecked
  : field.type !== 'hidden' && field.defaultValue !== undefined && field.value !== field.defaultValue
const isBusy = part => {
  const active = document.activeElement
  const inForm = part.contains(active) && active.closest('form') !== null
  return inForm || Array.from(part.querySelectorAll('input, textarea')).some(isBegun)
}
const put = (part, next) => {
  const held = part.contains(document.activeElement) && document.activeElement.getAttribute('href')
  const spots = Array.from(part.querySelectorAll('.scroll'), one => one.scrollLeft)
  part.replaceWith(next)
  next.querySelectorAll('.scroll').forEach((one, at) => { one.scrollLeft = spots[at] ?? 0 })
  if (held) next.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus({ preventScroll: true })
}
const look = async () => {
  waits = 0
  last = Date.now()
  try {
    const answer = await fetch(location.href, { headers: { accept: 'text/html' } })
    if (!answer.ok || answer.redirected) throw new Error('no page')
    const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html')
    for (const part of document.querySelectorAll('[data-live]')) {
      const next = fresh.getElementById(part.id)
      if (next && !isBusy(part)) put(part, next)
    }
    lost.hidden = true
  } catch {
    lost.hidden = false
  }
}
const soon = () => {
  if (waits || document.hidden) return
  waits = setTimeout(look, Math.max(250, last + LEAST - Date.now()))
}
const listen = () => {
  const events = new EventSource('/live')
  events.onmessage = soon
  events.onerror = () => {
    if (events.readyState !== EventSource.CLOSED) return
    // The next page brings a fresh session, with which the events can be heard again.
    setTimeout(async () => { await look(); listen() }, MOST / 4)
  }
}
if (lost && document.querySelector('[data-live]')) {
  listen()
  setInterval(() => { if (Date.now() - last >= MOST) soon() }, MOST / 4)
  document.addEventListener('visibilitychange', soon)
}
