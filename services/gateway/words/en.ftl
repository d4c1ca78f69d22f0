# What the pages say in English. Each message stands in es.ftl too; a test compares the two.

## Around every page

skip-to-content = Skip to the content
simulated = Simulated clock.
simulated-means = This plant and its time are invented: nothing here is a record of real food.
nav = Ways on
nav-today = Today
nav-lots = Lots
establishment = Establishment { $number }
sign-out = Sign out
times-are = Times are those of the plant ({ $zone }).
supports-not-replaces = Hankbook supports the plant’s own validated HACCP plan, its process authority and local codes, and replaces none of them.
go-home = To the plant’s page
may-be-repeated = You can safely try the same again.
the-house-itself = the system itself
not-known = not known
note = Note

## Problems, by the reason word of the table of kinds

problem-bad-input = Something that was entered is wrong.
problem-not-signed-in = Please sign in first.
problem-not-allowed = Your role does not allow this.
problem-signature-needed = This needs your signature: the password was not right, or it was given too long ago.
problem-not-found = There is nothing here by this name.
problem-verb-not-allowed = This page cannot do that.
problem-refused = A rule of the plant refuses this.
problem-id-in-use = This was recorded before with other content.
problem-key-reused = This was sent before with other content.
problem-contended = Somebody else changed the same thing at the same moment. Nothing was stored.
problem-stale = Somebody else has changed it since you read it.
problem-condition-missing = This page must be read again first.
problem-too-large = That is too much at once.
problem-media-type = This form cannot be read.
problem-too-many = Too many tries. Wait five minutes.
problem-unavailable = A part that is needed does not answer now.
problem-too-late = It took too long. Nothing may have been stored: look before you repeat it.
problem-no-such-operation = There is no such page.
problem-internal = Something failed on our side.
reasons = Reasons
reason = What stands in the way
reason-who = Who can mend it
reason-way-on = The way on

## Sign-in and password

sign-in = Sign in
sign-in-name = Name
sign-in-wrong = The name or the password is wrong.
password = Password
password-own = A password of your own
password-must = Your password was given to you for one time. Choose one that only you know.
password-old = Password until now
password-new = New password
password-again = The new password once more
password-hint = At least 10 characters.
password-not-same = The two new passwords are not the same.
password-take = Take this password

## Today

today-title = Production day { $day }
now-is = In the plant it is now
open-deviations = Open deviations
no-open-deviations = No deviation is open.
standing-holds = Holds that stand
no-standing-holds = Nothing is on hold.
newest-lots = Newest lots
all-lots = All lots
lot-file = Lot file

## Lots

lots = Lots
lot = Lot
lot-title = Lot { $code }
find-lot = Lot code
find = Find
no-such-code = No lot has the code { $code }.
no-lots = There are no lots yet.
newest = Newest
older = Older
lots-of-run = Batches of the run “{ $run }”.
what-it-is = What it is
kind = Kind
since = Since
place = Place
on-hand = On hand
state = State
exactly = (exactly { $grams } g)
lot-kind-received = Received
lot-kind-kit = Kit
lot-kind-batch = Batch
lot-kind-rack = Rack
lot-kind-finished = Finished
lot-kind-rework = Rework
lot-kind-opening-stock = Opening stock

## Marks: each stands beside its shape

mark-met = met
mark-met-late = met, entered late
mark-not-met = not met
mark-failed = failed
mark-missed = missed
mark-missing = missing
mark-undetermined = undetermined
mark-not-judged = not judged
mark-on-hold = on hold
mark-no-hold = no hold
mark-ended = ended
mark-open = open
mark-closed = closed
mark-reviewed = reviewed
mark-left-out = left out
mark-none = none

## The file of a lot

file-contents = In this file
file-what = What it is
file-plan = The plan’s words
file-made = How it was made
file-from = Where it came from
file-to = Where it went
file-readings = Readings
file-cooks = Cooks and chills
curves = The curves
file-deviations = Deviations
file-holds = Holds
file-review = What is proved, and the review
file-items = Records that broke a rule
file-shipments = Shipments
file-log = The sealed log
file-as-of = As it stood at
file-paper = On paper this shows what was known then, and no more.
cautions = Cautions
summary = At one look
summary-unread = { $part }: could not be read
summary-holds = { $count ->
    [one] 1 hold stands
   *[other] { $count } holds stand
}
summary-open = { $count ->
    [one] 1 deviation
   *[other] { $count } deviations
}
summary-closed = { $count ->
    [one] 1 deviation, closed with its disposition
   *[other] { $count } deviations, all closed with their dispositions
}
summary-no-deviations = No deviation names this lot.
summary-readings = { $count ->
    [0] No reading on this lot
    [one] 1 reading on this lot
   *[other] { $count } readings on this lot
}, { $failed } not met, { $unknown } undetermined
summary-reviewed = Reviewed before shipment; nothing has changed since.
summary-not-reviewed = { $count ->
    [0] Not reviewed before shipment
    [one] Not reviewed before shipment; 1 thing stands in the way
   *[other] Not reviewed before shipment; { $count } things stand in the way
}
part-missing = { $part }: this part could not be read.
part-missing-means = What it would show is not known here; that is not the same as nothing.
more-not-shown = There are more than the { $rows } shown here.

supplier = Supplier
supplier-lot = Supplier’s lot
run = Run
mass = Mass
plan = HACCP plan
plan-none = It was bound to no plan: nothing says what it must meet.
plan-version = version { $version }
plan-newer = version { $version } is in force now
observed = Observed
recorded = Recorded
production-day = Production day
record = Record
came-of-none = It came of no other lot of this plant.
went-to-none = No other lot was made of it yet.
made-by = { $kind } at { $place }, entered by { $name }:
transformation-kind-weigh-up = Weighed up
transformation-kind-mix = Mixed
transformation-kind-rack = Hung on racks
transformation-kind-pack-off = Packed off
transformation-kind-rework = Taken out as rework
added-later = Added later:
no-lot = no lot
loss = Lost on the way:
steps = Steps
used-mass = Mass used
no-shipments = Nothing of it has left the plant.
shipped-at = Left
customer = Customer
phone = Phone
cases = Cases

no-readings = No reading names this lot.
original = As it was recorded
amendment = Amendment
rests-on = The limit rests on:
source-not-told = its source was not told
late = entered { $seconds } s after it was read
happened = recorded after the fact
clock-off = the device’s clock was off by more than 120 s
corrected = The instrument’s own error of { $value } was taken off before it was judged.
why-amended = Amended because:
its-deviation = Its deviation

no-racks = This lot is no rack and came of none: there is no cook to show.
no-cooks = No load was recorded for its racks.
load-in = { $house }, went in
met-at = at
racks = Racks
rack = Rack
pulled-at = Pulled
in-the-house = still in the house
cook = Cook
chill = Chill
judged-by-limit = by its limit
judged-by-cooling-option-1 = by cooling option 1
judged-by-cooling-option-2 = by cooling option 2
judged-by-cooling-option-3 = by cooling option 3
judged-by-cooling-option-4 = by cooling option 4
limb-times = at least { $least } min and at most { $most } min, where { $limit } min are allowed
not-in-product = Not in the product from
left-out = Left out by signature from
no-curves = No sample was recorded.
chart-failed = The picture could not be drawn; the samples are in the record.
chart-shows = Temperature over time of: { $probes }.
chart-words = Each curve is named at its end. A cross marks where a probe stops counting; its curve goes on as a thin line. Dashed lines across are limits, dotted lines upwards are moments.
chart-time = Time of day in the plant
chart-left-out = (left out)
limit-at-least = { $check }: at least { $value }
moment-met = { $check } met
moment-pulled = pulled

no-deviations = No deviation names this lot.
is-ccp = Critical control point
is-other = Not a critical control point
opened = opened
span = Product that passed between
deviation-open-means = It is open: its lots stay on hold until QA has closed it with cause, control, prevention and disposition, signed.
cause = Cause, and how it was removed
control = Under control again by
prevention = What prevents it
disposition = What becomes of the product
disposition-release-with-support = Released with support.
disposition-recook = Cooked again.
disposition-rework-with-lethal-step = Into rework with a later lethal step.
disposition-destroy = Destroyed.
disposition-recorded-wrongly = Recorded wrongly.
evidence = What shows it
signed = Signed
no-holds = It was never on hold.
scope = What it covers
placed = Placed
ended = Ended
hold-scope-whole = whole lots, with all made of them
hold-scope-what-is-left = what is left of the lots
hold-scope-cases = named cases
hold-scope-span = what passed in a span of time
no-items = Nothing was recorded of this lot that broke a rule of making or shipping.

review-stands = Reviewed before shipment, and nothing has changed since.
review-none = No review of it stands.
in-the-way = What stands in the way
excepted-cases = Cases that are not clear:
proved = What is proved
nothing-demanded = Its plan demands no check, or it was bound to none.
review-digest = What a review names:
check = Check
step = Step
class = Class
found = What was found
class-ccp = Critical control point
class-programme = Programme
class-quality = Quality
gates-not = stops no shipment
satisfied-covered = covered by other evidence
satisfied-released = released with support
satisfied-recooked = cooked again
satisfied-reworked = into rework with a later lethal step
satisfied-recorded-wrongly = recorded wrongly, as signed

log-means = Every record above stands as an entry in one log, whose head is signed. This is the newest head when the page was made.
log-size = Entries
log-signed-at = Signed at
log-root = Root
log-key = Key
log-bundle = The lot’s records with their proofs, to be checked without this service: { $path }

files = Files attached
no-files = No file was attached.
files-mean = Each file stands in the log by its hash; its bytes are given as they were sent.
file-name = File
file-about = About
file-type = Type
file-bytes = Size in bytes
file-sent = Attached
about-deviation = a deviation
about-load = a load
about-reading = a reading
about-foreign-material = foreign material
about-lot = the lot

## Forms that are signed

signature = Your signature
signature-says = With your password you sign:
signature-password = Your password, for this one signature
note-if-any = Note, if there is one

## Deviations and holds

deviation = Deviation
deviation-title = Deviation of { $check }
only-open = Only what is open
closed-too = Closed ones too
opened-at = Opened
its-lots = Its lots
only-qa-closes = Only QA can close it, with a signature.
close-deviation = Close this deviation
four-parts = The four parts of a corrective action: 9 CFR 417.3(a).
disposition-support = How it keeps harmful product from commerce, with the support
evidence-if-wrong = Only for “recorded wrongly”: what shows that the first record was wrong
signs-closing = I have found the cause, the point is under control, it will not happen again, and nothing harmful enters commerce.
hold = Hold
reason-of-hold = Reason
its-end = Its end
ends-with-deviation = Ends with its deviation
end-hold = End this hold
end-why = Why it may end
only-qa-ends = Only QA can end it, with a signature.
signs-end-of-hold = I have looked at what this hold covers, and it may be used and shipped again.
place-hold = Put on hold
hold-why = Put this lot on hold, because

## Entering a reading

enter-reading = Enter a reading
reading-of = Reading of lot { $code }
which-check = Which check?
no-check-to-read = Its plan has no check that a reading answers. Challenges and cooks are recorded elsewhere.
at-least = at least { $value }
at-most = at most { $value }
judged-by-bound = This lot is bound to version { $version } of its plan, which is no longer in force and cannot be shown here. The reading is judged by that version.
read-with = Read with
read-with-another = Another one, or not known: nothing is taken off
no-good-check = no good check in this unit: not to be read with
shows-too-much = shows { $value } too much, which is taken off
shows-too-little = shows { $value } too little, which is added
shows-true = shows no error
checked-at = checked
instruments = The instruments
value-in = Value { $number } in { $unit }
plausible = As the instrument shows it, with a point: between { $low } and { $high }.
unit-is = As the instrument shows it, with a point, in { $unit }.
unlikely-value = No instrument of a plant shows such a value. Look again: is the point where it belongs?
sure-value = Yes, this is what it showed.
record-reading = Record
one-more-value = One more value
keypad = Keypad
key-back = ← Back
reading-title = Reading of { $check }
recorded-before = This form was recorded before. What stands is shown here, and nothing new was recorded.
amend-reading = Amend this reading
amend-words = The reading stays as it was recorded; the amendment stands beside it with its own verdict. What was not met opened a deviation, and stays open until QA closes it.
amend-why = Why the record says something else than what was read
signs-amendment = I have looked into this reading, and what I amend it to is what was read.
what-next = What to do next
next-reading = Next reading
next-go-on = Go on. Nothing else is to be done for this reading.
next-apart = Keep the product apart. Its lots go on hold: do not use or ship them.
next-tell-qa = Tell QA: a deviation is open.
next-no-heal = A later good reading does not close it.
next-not-met = It is not met. Tell the supervisor; where the step still runs, go on with it and read again.
next-undetermined = It could not be judged, and counts as not met. Look at the reasons above and read again.

## Weighings

file-weighings = Weighings and shrink
file-yields = Shrink
weigh = Weigh
weigh-lot = Weighing of lot { $code }
weighing = Weighing
no-weighings = No weighing names this lot.
stage = Stage
no-stage = No stage: it counts in no shrink
stage-received = Received
stage-block = Meat block
stage-mixed = Mixed
stage-stuffed = Stuffed
stage-dried = Dried
stage-smoked = Smoked and cooked
stage-chilled = Chilled
stage-peeled = Peeled
stage-packed = Packed
mass-unit = Unit of the scale
gross-shown = Gross, as the scale shows it
tare-shown = Tare; 0 where nothing else stood on the scale
net-mass = Net
scale = Scale
weighed-together = { $count } lots stood on the scale together.
next-weighing = Next weighing of this lot
lost-since = { $percent } % lost since { $stage }
lost-since-before = Lost since the stage before
by-the-graph = By the lot graph
difference = Difference
not-weighed-lots = Not weighed
lost-in-all = { $percent } % lost from the first of these stages to the last
lost-since-stuffed = { $percent } % of the stuffed weight lost
lost-by-graph = { $percent } % by the masses of the lot graph; the weighings differ by { $difference } percentage points
no-stage-before = No stage before this one was weighed whole, so nothing is known to be lost yet.
not-weighed-yet = Not everything was weighed at this stage. Missing: { $lots }
counts-in-no-shrink = This weighing counts in no shrink.
rounded-two = Numbers with ≈ are rounded to the nearest; a minus is a gain. The exact ones are in the report.

## Open items

open-items = Open items
show-day = Show this day
checks-of-day = Checks of lots made on { $day }
no-open-items = Nothing is open for the lots of this day.
no-broken-facts = No record that broke a rule of making or shipping is open.
stops-shipping = stops shipping
mark-deviation = deviation open
mark-clock-off = clock was off
mark-no-record = no record yet
mark-foreign-material = foreign material
mark-late = late

## Review

review = Review
review-signed = Your review is signed.
nothing-finished = No finished lot is there to review.
proved-items = { $count ->
    [0] Its plans demand no check.
    [one] 1 check was judged.
   *[other] { $count } checks were judged.
}
look-at-all = Look at all of them
i-looked-at = I have looked at { $code } as it is shown here
sign-review = Sign the review
signs-review = I have reviewed the records of these lots and of all that they came of; they are complete.
mark-to-review = ready for review
mark-not-ready = not ready

## Shipment

shipment-check = Shipment
shipment-check-means = Says whether pallets may leave now. What ships is judged again at that moment.
pallet-labels = Pallets as scanned, by label or id
pallets-here = Pallets in the plant
no-pallets-here = No pallet with a case on it is in the plant.
ship-them = Ship them
ship-now = Ship now
from-dock = From
truck = Truck or trailer
choose = Choose
shipment-to = Shipment to { $customer }
lots-behind = Lots behind it
pallets = Pallets
check-pallets = Check
pallets-held = { $held ->
    [0] Every pallet may leave now.
   *[other] { $held } of { $all } may not leave now.
}
pallet = Pallet { $label }
clear-cases = Cases that could leave if the others were taken off:
mark-clear = clear
mark-not-clear = not clear

## People

people = People
person = Person
roles = Roles
language = Language
in-use = in use
not-in-use = not in use
new-person = Add a person
add-person = Add this person
change-person = Change this person
only-administrators = Only an administrator adds and changes people.
name-in-records = Name as it stands in records
sign-in-name-of = Name to sign in with
sign-in-name-hint = Small letters, digits, points and dashes; nobody else has it.
reads-only = reads only
one-time-password = One-time password
one-time-hint = At least 10 characters. Tell it to the person: at the first sign-in they take their own.
one-time-hint-again = Only if theirs is lost: at least 10 characters, good for one sign-in, at which they take their own. Left empty, they keep theirs.
may-sign-in = In use: may sign in
role-operator = Operator
role-supervisor = Supervisor
role-qa = QA
role-manager = Manager
role-developer = Product developer
role-sanitation = Sanitation
role-maintenance = Maintenance
role-dock = Dock
role-inspector = Inspector
role-device = Device
role-administrator = Administrator

## Sentences of the services

to-deviation = The deviation
to-hold = The hold
to-load = The load
trace = Trace

## Loads and chills

load-title = Load in { $house }
went-in = Went in
racks-inside = { $inside } of { $all } racks are in the house.
as-of = As it stood at
load-again = Load again
live-lost = This page no longer moves by itself. Load it again to see how things stand.
remains = { $value } to the limit
remains-unknown = What remains is not known; look at what is missing below.
coldest-is = The coldest probe that counts stands at { $coldest }; it must reach { $limit }.
look-due = Somebody must look again by
where = Where
to-do = To do
not-begun = not begun
to-chill = The chill
rack-unbound = is bound to no plan that is known here: nothing judges it.
probes = Probes
probe = Probe
seat = Seat
seat-air = in the air
seat-rack = in a rack
shows = Shows
shown-at = Shown at
no-probes = No probe sits in this load: only readings by hand can show that its limit is met.
support = What supports it, and decides nothing
pull-racks = Pull racks
pull-now = Pull the ticked racks now
overrule = Pull them although the limit is not met: this opens a deviation.
overrule-why = Why they are pulled all the same
leave-out = Leave a probe out
left-out-from = From when on it does not count, by the plant’s clock
left-out-why = Why it does not show the product
signs-left-out = This probe does not show the product from that time on.
chill-title = Chill of rack { $code }
chill-not-begun = This rack is still in the house: its chill begins when it is pulled.
out-since = Out of the house since
no-chill-check = Its plan asks nothing of the chill, or it is bound to none.
reading-due = A reading is due by
limbs = Limbs of the chill
limb = From → to
allowed = Allowed
took-least = At least
took-most = At most
what-remains = What remains
seen-until = As far as it is known at
nothing-remains = nothing
time-is-over = the time is over
limb-remains = at most { $minutes } min
read-by-hand = Read by hand
warmest-in = The warmest spot in { $unit }
mark-due = due
mark-overdue = overdue
mark-counts = counts
mark-not-yet = not yet met
mark-running = running
mark-shipped = shipped

## The day

due = Due and overdue
nothing-due = Nothing is due by a time now.
by-when = By
due-look = Look at { $product }: { $check }
due-chill = Read the chill of rack { $code }: { $check }
and-more = and more
timeline = The day at the plant’s places
timeline-words = Each lane is a place. A bar lasts as long as it says and ends in a point while it goes on. The same stands in words below.
timeline-dropped = { $count ->
    [one] 1 mark has no room here; it stands below.
   *[other] { $count } marks have no room here; they stand below.
}
no-places = No place of the plant was entered yet.
no-place = No place
now = now
places = Places
loads = Loads
challenges = Challenges
in-houses = In the houses
no-load-runs = No load is in a house.
house = House
product = Product
chilling = Chilling
no-chill-runs = No chill runs.
and-racks = and { $count } more
load-of = Load { $products }
chill-of = Chill { $check } { $products }
in-words = The day in words
nothing-yet = Nothing was recorded on this day yet.
at-time = Time
what = What
goes-on = goes on
day-before = The day before
mark-pulled = pulled
mark-deviation-closed = deviation closed
mark-left-unclear = left before it was clear

## Trace

trace-title = Trace of lot { $code }
trace-words = From left to right as product goes through the plant; the width of a line is the mass that went along it. The same stands in the table below.
trace-more = Of { $all } lots only the nearest { $shown } are drawn; the files of the outermost lead further.
in-table = The same as a table
used-together = for { $count } lots together
other-racks = { $count ->
    [one] One rack of another lot was in this load; it stands on its page.
   *[other] { $count } racks of other lots were in this load; they stand on its page.
}
came-of = Came of
made-at = received or made at { $place }
shipment = Shipment
mark-this = this lot
cases-of = { $count ->
    [one] 1 case
   *[other] { $count } cases
}
trace-stage-received = Received
trace-stage-kit = Kits and rework
trace-stage-batch = Batches
trace-stage-rack = Racks
trace-stage-finished = Finished
trace-stage-shipped = Left the plant

## Review, further

waiting-for-review = { $count ->
    [0] No lot waits for your review.
    [one] 1 lot waits for review.
   *[other] { $count } lots wait for review.
}
signed-reviews = Signed reviews
no-reviews = No review was signed yet.
reviewer-recorded = had recorded some of it
