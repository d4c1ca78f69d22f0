# Lo que dicen las páginas en español. Cada mensaje está también en en.ftl; una prueba los compara.

## Alrededor de cada página

skip-to-content = Ir al contenido
simulated = Reloj simulado.
simulated-means = Esta planta y su hora son inventadas: nada de aquí es un registro de alimentos reales.
nav = Adónde ir
nav-today = Hoy
nav-lots = Lotes
establishment = Establecimiento { $number }
sign-out = Salir
times-are = Las horas son las de la planta ({ $zone }).
supports-not-replaces = Hankbook apoya el plan HACCP validado de la planta, su autoridad de proceso y los códigos locales, y no reemplaza ninguno.
go-home = A la página de la planta
may-be-repeated = Puede intentar lo mismo otra vez sin peligro.
the-house-itself = el propio sistema
not-known = no se sabe
note = Nota

## Problemas, por la palabra de la tabla de clases

problem-bad-input = Algo de lo escrito está mal.
problem-not-signed-in = Primero identifíquese, por favor.
problem-not-allowed = Su función no permite esto.
problem-signature-needed = Esto necesita su firma: la contraseña no era correcta o se dio hace demasiado tiempo.
problem-not-found = No hay nada con este nombre.
problem-verb-not-allowed = Esta página no puede hacer eso.
problem-refused = Una regla de la planta lo rechaza.
problem-id-in-use = Esto ya se registró antes con otro contenido.
problem-key-reused = Esto ya se envió antes con otro contenido.
problem-contended = Otra persona cambió lo mismo en el mismo momento. No se guardó nada.
problem-stale = Otra persona lo ha cambiado desde que usted lo leyó.
problem-condition-missing = Primero hay que leer la página de nuevo.
problem-too-large = Es demasiado de una vez.
problem-media-type = Este formulario no se puede leer.
problem-too-many = Demasiados intentos. Espere cinco minutos.
problem-unavailable = Una parte necesaria no responde ahora.
problem-too-late = Tardó demasiado. Puede que no se haya guardado nada: mire antes de repetirlo.
problem-no-such-operation = No existe esa página.
problem-internal = Algo falló de nuestro lado.
reasons = Motivos
reason = Qué lo impide
reason-who = Quién puede arreglarlo
reason-way-on = Cómo seguir

## Identificación y contraseña

sign-in = Entrar
sign-in-name = Nombre
sign-in-wrong = El nombre o la contraseña no son correctos.
password = Contraseña
password-own = Una contraseña propia
password-must = Su contraseña valía una sola vez. Elija una que solo usted conozca.
password-old = Contraseña hasta ahora
password-new = Contraseña nueva
password-again = La contraseña nueva otra vez
password-hint = Al menos 10 caracteres.
password-not-same = Las dos contraseñas nuevas no son iguales.
password-take = Tomar esta contraseña

## Hoy

today-title = Día de producción { $day }
now-is = En la planta son ahora las
open-deviations = Desviaciones abiertas
no-open-deviations = No hay ninguna desviación abierta.
standing-holds = Retenciones en pie
no-standing-holds = No hay nada retenido.
newest-lots = Lotes más nuevos
all-lots = Todos los lotes
lot-file = Expediente del lote

## Lotes

lots = Lotes
lot = Lote
lot-title = Lote { $code }
find-lot = Código del lote
find = Buscar
no-such-code = Ningún lote tiene el código { $code }.
no-lots = Todavía no hay lotes.
newest = Los más nuevos
older = Anteriores
lots-of-run = Mezclas de la tanda «{ $run }».
what-it-is = Qué es
kind = Clase
since = Desde
place = Lugar
on-hand = Existencia
state = Estado
exactly = (exactamente { $grams } g)
lot-kind-received = Recibido
lot-kind-kit = Juego de ingredientes
lot-kind-batch = Mezcla
lot-kind-rack = Carro
lot-kind-finished = Terminado
lot-kind-rework = Reproceso
lot-kind-opening-stock = Existencia inicial

## Marcas: cada una junto a su figura

mark-met = cumplido
mark-met-late = cumplido, anotado tarde
mark-not-met = no cumplido
mark-failed = fallado
mark-missed = omitido
mark-missing = falta
mark-undetermined = sin determinar
mark-not-judged = sin juzgar
mark-on-hold = retenido
mark-no-hold = sin retención
mark-ended = terminada
mark-open = abierto
mark-closed = cerrado
mark-reviewed = revisado
mark-left-out = excluida
mark-none = ninguno

## El expediente de un lote

file-contents = En este expediente
file-what = Qué es
file-plan = Las palabras del plan
file-made = Cómo se hizo
file-from = De dónde viene
file-to = Adónde fue
file-readings = Lecturas
file-cooks = Cocciones y enfriamientos
curves = Las curvas
file-deviations = Desviaciones
file-holds = Retenciones
file-review = Qué está probado, y la revisión
file-items = Registros que rompieron una regla
file-shipments = Envíos
file-log = El registro sellado
file-as-of = Tal como estaba a las
file-paper = En papel muestra lo que se sabía entonces, y nada más.
cautions = Advertencias
summary = De un vistazo
summary-unread = { $part }: no se pudo leer
summary-holds = { $count ->
    [one] 1 retención en pie
   *[other] { $count } retenciones en pie
}
summary-open = { $count ->
    [one] 1 desviación
   *[other] { $count } desviaciones
}
summary-closed = { $count ->
    [one] 1 desviación, cerrada con su disposición
   *[other] { $count } desviaciones, todas cerradas con sus disposiciones
}
summary-no-deviations = Ninguna desviación nombra este lote.
summary-readings = { $count ->
    [0] Ninguna lectura de este lote
    [one] 1 lectura de este lote
   *[other] { $count } lecturas de este lote
}, { $failed } no cumplidas, { $unknown } sin determinar
summary-reviewed = Revisado antes del envío; nada ha cambiado desde entonces.
summary-not-reviewed = { $count ->
    [0] Sin revisar antes del envío
    [one] Sin revisar antes del envío; 1 cosa lo impide
   *[other] Sin revisar antes del envío; { $count } cosas lo impiden
}
part-missing = { $part }: esta parte no se pudo leer.
part-missing-means = Lo que mostraría no se sabe aquí; eso no es lo mismo que nada.
more-not-shown = Hay más que los { $rows } que se muestran aquí.

supplier = Proveedor
supplier-lot = Lote del proveedor
run = Tanda
mass = Masa
plan = Plan HACCP
plan-none = No está ligado a ningún plan: nada dice qué debe cumplir.
plan-version = versión { $version }
plan-newer = ahora está en vigor la versión { $version }
observed = Observado
recorded = Registrado
production-day = Día de producción
record = Registro
came-of-none = No viene de ningún otro lote de esta planta.
went-to-none = Todavía no se hizo ningún otro lote de él.
made-by = { $kind } en { $place }, anotado por { $name }:
transformation-kind-weigh-up = Pesado
transformation-kind-mix = Mezclado
transformation-kind-rack = Colgado en carros
transformation-kind-pack-off = Empacado
transformation-kind-rework = Sacado como reproceso
added-later = Añadido después:
no-lot = sin lote
loss = Perdido en el camino:
steps = Pasos
used-mass = Masa usada
no-shipments = Nada de él ha salido de la planta.
shipped-at = Salió
customer = Cliente
phone = Teléfono
cases = Cajas

no-readings = Ninguna lectura nombra este lote.
original = Tal como se registró
amendment = Enmienda
rests-on = El límite se basa en:
source-not-told = no se dijo su fuente
late = anotada { $seconds } s después de leída
happened = registrada después del hecho
clock-off = el reloj del aparato estaba desviado más de 120 s
corrected = El error propio del instrumento, { $value }, se descontó antes de juzgar.
why-amended = Enmendada porque:
its-deviation = Su desviación

no-racks = Este lote no es un carro ni viene de ninguno: no hay cocción que mostrar.
no-cooks = No se registró ninguna carga de sus carros.
load-in = { $house }, entró
met-at = a las
racks = Carros
rack = Carro
pulled-at = Sacado
in-the-house = todavía en el horno
cook = Cocción
chill = Enfriamiento
judged-by-limit = por su límite
judged-by-cooling-option-1 = por la opción de enfriamiento 1
judged-by-cooling-option-2 = por la opción de enfriamiento 2
judged-by-cooling-option-3 = por la opción de enfriamiento 3
judged-by-cooling-option-4 = por la opción de enfriamiento 4
limb-times = al menos { $least } min y como máximo { $most } min, donde se permiten { $limit } min
not-in-product = Fuera del producto desde
left-out = Excluida con firma desde
no-curves = No se registró ninguna muestra.
chart-failed = No se pudo dibujar la imagen; las muestras están en el registro.
chart-shows = Temperatura en el tiempo de: { $probes }.
chart-words = Cada curva lleva su nombre al final. Una cruz marca dónde una sonda deja de contar; su curva sigue como línea fina. Las líneas de trazos que cruzan son límites, las de puntos hacia arriba son momentos.
chart-time = Hora del día en la planta
chart-left-out = (excluida)
limit-at-least = { $check }: al menos { $value }
moment-met = { $check } cumplido
moment-pulled = sacado

no-deviations = Ninguna desviación nombra este lote.
is-ccp = Punto crítico de control
is-other = No es un punto crítico de control
opened = abierta
span = Producto que pasó entre
deviation-open-means = Está abierta: sus lotes siguen retenidos hasta que Calidad la cierre con causa, control, prevención y disposición, con firma.
cause = Causa, y cómo se eliminó
control = De nuevo bajo control por
prevention = Qué lo previene
disposition = Qué pasa con el producto
disposition-release-with-support = Liberado con respaldo.
disposition-recook = Cocido otra vez.
disposition-rework-with-lethal-step = A reproceso con un paso letal posterior.
disposition-destroy = Destruido.
disposition-recorded-wrongly = Mal registrado.
evidence = Qué lo demuestra
signed = Firmado
no-holds = Nunca estuvo retenido.
scope = Qué abarca
placed = Puesta
ended = Terminada
hold-scope-whole = lotes enteros, con todo lo hecho de ellos
hold-scope-what-is-left = lo que queda de los lotes
hold-scope-cases = cajas nombradas
hold-scope-span = lo que pasó en un lapso de tiempo
no-items = No se registró nada de este lote que rompiera una regla de fabricación o envío.

review-stands = Revisado antes del envío, y nada ha cambiado desde entonces.
review-none = No hay ninguna revisión en pie.
in-the-way = Qué lo impide
excepted-cases = Cajas que no están libres:
proved = Qué está probado
nothing-demanded = Su plan no exige ningún control, o no está ligado a ninguno.
review-digest = Lo que nombra una revisión:
check = Control
step = Paso
class = Clase
found = Qué se encontró
class-ccp = Punto crítico de control
class-programme = Programa
class-quality = Calidad
gates-not = no detiene ningún envío
satisfied-covered = cubierto por otra evidencia
satisfied-released = liberado con respaldo
satisfied-recooked = cocido otra vez
satisfied-reworked = a reproceso con un paso letal posterior
satisfied-recorded-wrongly = mal registrado, según lo firmado

log-means = Cada registro de arriba está como asiento en un solo registro, cuya cabeza está firmada. Esta es la cabeza más nueva cuando se hizo la página.
log-size = Asientos
log-signed-at = Firmado
log-root = Raíz
log-key = Clave
log-bundle = Los registros del lote con sus pruebas, para comprobarlos sin este servicio: { $path }

files = Archivos adjuntos
no-files = No se adjuntó ningún archivo.
files-mean = Cada archivo figura en el registro por su huella; sus bytes se entregan tal como se enviaron.
file-name = Archivo
file-about = Sobre
file-type = Tipo
file-bytes = Tamaño en bytes
file-sent = Adjuntado
about-deviation = una desviación
about-load = una carga
about-reading = una lectura
about-foreign-material = materia extraña
about-lot = el lote

## Formularios que se firman

signature = Su firma
signature-says = Con su contraseña usted firma:
signature-password = Su contraseña, para esta única firma
note-if-any = Nota, si la hay

## Desviaciones y retenciones

deviation = Desviación
deviation-title = Desviación de { $check }
only-open = Solo lo abierto
closed-too = También las cerradas
opened-at = Abierta
its-lots = Sus lotes
only-qa-closes = Solo Calidad puede cerrarla, con firma.
close-deviation = Cerrar esta desviación
four-parts = Las cuatro partes de una acción correctiva: 9 CFR 417.3(a).
disposition-support = Cómo impide que producto dañino llegue al comercio, con el respaldo
evidence-if-wrong = Solo para «mal registrado»: qué demuestra que el primer registro estaba mal
signs-closing = He encontrado la causa, el punto está bajo control, no volverá a ocurrir, y nada dañino entra al comercio.
hold = Retención
reason-of-hold = Motivo
its-end = Su fin
ends-with-deviation = Termina con su desviación
end-hold = Terminar esta retención
end-why = Por qué puede terminar
only-qa-ends = Solo Calidad puede terminarla, con firma.
signs-end-of-hold = He mirado lo que abarca esta retención, y se puede usar y enviar de nuevo.
place-hold = Retener
hold-why = Retener este lote, porque

## Anotar una lectura

enter-reading = Anotar una lectura
reading-of = Lectura del lote { $code }
which-check = ¿Qué control?
no-check-to-read = Su plan no tiene ningún control que responda una lectura. Los desafíos y las cocciones se registran en otra parte.
at-least = al menos { $value }
at-most = como máximo { $value }
judged-by-bound = Este lote está ligado a la versión { $version } de su plan, que ya no está en vigor y no se puede mostrar aquí. La lectura se juzga por esa versión.
read-with = Leído con
read-with-another = Otro, o no se sabe: no se descuenta nada
no-good-check = sin comprobación buena en esta unidad: no se puede usar
shows-too-much = marca { $value } de más, que se descuentan
shows-too-little = marca { $value } de menos, que se suman
shows-true = no marca ningún error
checked-at = comprobado
instruments = Los instrumentos
value-in = Valor { $number } en { $unit }
plausible = Tal como lo muestra el instrumento, con punto: entre { $low } y { $high }.
unit-is = Tal como lo muestra el instrumento, con punto, en { $unit }.
unlikely-value = Ningún instrumento de una planta muestra tal valor. Mire otra vez: ¿está el punto en su sitio?
sure-value = Sí, esto es lo que mostró.
record-reading = Registrar
one-more-value = Un valor más
keypad = Teclado
key-back = ← Borrar
reading-title = Lectura de { $check }
recorded-before = Este formulario ya se registró antes. Aquí se muestra lo que consta, y no se registró nada nuevo.
amend-reading = Enmendar esta lectura
amend-words = La lectura se queda tal como se registró; la enmienda queda a su lado con su propio veredicto. Lo que no se cumplió abrió una desviación, que sigue abierta hasta que Calidad la cierre.
amend-why = Por qué el registro dice otra cosa que lo leído
signs-amendment = He examinado esta lectura, y lo que pongo en la enmienda es lo que se leyó.
what-next = Qué hacer ahora
next-reading = Siguiente lectura
next-go-on = Siga. No hay nada más que hacer por esta lectura.
next-apart = Aparte el producto. Sus lotes quedan retenidos: no los use ni los envíe.
next-tell-qa = Avise a Calidad: hay una desviación abierta.
next-no-heal = Una lectura buena posterior no la cierra.
next-not-met = No se cumple. Avise al supervisor; si el paso sigue en marcha, continúe y lea otra vez.
next-undetermined = No se pudo juzgar, y cuenta como no cumplido. Mire los motivos de arriba y lea otra vez.

## Pesajes

file-weighings = Pesajes y merma
file-yields = Merma
weigh = Pesar
weigh-lot = Pesaje del lote { $code }
weighing = Pesaje
no-weighings = Ningún pesaje nombra este lote.
stage = Etapa
no-stage = Sin etapa: no cuenta en ninguna merma
stage-received = Recibido
stage-block = Bloque de carne
stage-mixed = Mezclado
stage-stuffed = Embutido
stage-dried = Secado
stage-smoked = Ahumado y cocido
stage-chilled = Enfriado
stage-peeled = Pelado
stage-packed = Envasado
mass-unit = Unidad de la báscula
gross-shown = Bruto, tal como lo muestra la báscula
tare-shown = Tara; 0 si no había nada más en la báscula
net-mass = Neto
scale = Báscula
weighed-together = { $count } lotes estaban juntos en la báscula.
next-weighing = Siguiente pesaje de este lote
lost-since = { $percent } % perdido desde { $stage }
lost-since-before = Perdido desde la etapa anterior
by-the-graph = Según el grafo de lotes
difference = Diferencia
not-weighed-lots = Sin pesar
lost-in-all = { $percent } % perdido desde la primera de estas etapas hasta la última
lost-since-stuffed = { $percent } % del peso embutido perdido
lost-by-graph = { $percent } % según las masas del grafo de lotes; los pesajes difieren en { $difference } puntos porcentuales
no-stage-before = Ninguna etapa anterior se pesó entera, así que aún no se sabe qué se perdió.
not-weighed-yet = No todo se pesó en esta etapa. Falta: { $lots }
counts-in-no-shrink = Este pesaje no cuenta en ninguna merma.
rounded-two = Los números con ≈ están redondeados al más cercano; un menos es una ganancia. Los exactos están en el informe.

## Pendientes

open-items = Pendientes
show-day = Mostrar este día
checks-of-day = Controles de los lotes hechos el { $day }
no-open-items = No hay nada pendiente para los lotes de este día.
no-broken-facts = No queda pendiente ningún registro que rompiera una regla de fabricación o envío.
stops-shipping = detiene el envío
mark-deviation = desviación abierta
mark-clock-off = reloj desviado
mark-no-record = aún sin registro
mark-foreign-material = material extraño
mark-late = tarde

## Revisión

review = Revisión
review-signed = Su revisión está firmada.
nothing-finished = No hay ningún lote terminado por revisar.
proved-items = { $count ->
    [0] Sus planes no exigen ningún control.
    [one] Se juzgó 1 control.
   *[other] Se juzgaron { $count } controles.
}
look-at-all = Mirarlos todos
i-looked-at = He mirado { $code } tal como se muestra aquí
sign-review = Firmar la revisión
signs-review = He revisado los registros de estos lotes y de todo aquello de lo que vienen; están completos.
mark-to-review = listo para revisar
mark-not-ready = no está listo

## Envío

shipment-check = Envío
shipment-check-means = Dice si las paletas pueden salir ahora. Lo que se envía se juzga de nuevo en ese momento.
pallet-labels = Paletas tal como se leen, por etiqueta o identificador
pallets-here = Paletas en la planta
no-pallets-here = No hay en la planta ninguna paleta con cajas.
ship-them = Enviarlas
ship-now = Enviar ahora
from-dock = Desde
truck = Camión o remolque
choose = Elegir
shipment-to = Envío a { $customer }
lots-behind = Lotes detrás
pallets = Paletas
check-pallets = Comprobar
pallets-held = { $held ->
    [0] Todas las paletas pueden salir ahora.
   *[other] { $held } de { $all } no pueden salir ahora.
}
pallet = Paleta { $label }
clear-cases = Cajas que podrían salir si se quitaran las otras:
mark-clear = libre
mark-not-clear = no está libre

## Personas

people = Personas
person = Persona
roles = Funciones
language = Idioma
in-use = en uso
not-in-use = fuera de uso
new-person = Añadir una persona
add-person = Añadir esta persona
change-person = Guardar los cambios
only-administrators = Solo un administrador añade y cambia personas.
name-in-records = Nombre tal como figura en los registros
sign-in-name-of = Nombre para entrar
sign-in-name-hint = Minúsculas, cifras, puntos y guiones; nadie más lo tiene.
reads-only = solo lee
one-time-password = Contraseña de un solo uso
one-time-hint = Al menos 10 caracteres. Dígasela a la persona: al entrar por primera vez elige la suya.
one-time-hint-again = Solo si perdió la suya: al menos 10 caracteres, vale para entrar una vez y entonces elige otra. Si se deja vacía, conserva la suya.
may-sign-in = En uso: puede entrar
role-operator = Operario
role-supervisor = Supervisor
role-qa = Calidad
role-manager = Gerente
role-developer = Desarrollo de productos
role-sanitation = Saneamiento
role-maintenance = Mantenimiento
role-dock = Muelle
role-inspector = Inspector
role-device = Aparato
role-administrator = Administrador

## Sentences of the services

to-deviation = La desviación
to-hold = La retención
to-load = La carga
trace = Rastreo

## Cargas y enfriados

load-title = Carga en { $house }
went-in = Entró
racks-inside = { $inside } de { $all } carros están en el horno.
as-of = Tal como estaba a las
load-again = Cargar otra vez
live-lost = Esta página ya no se mueve sola. Cárguela otra vez para ver cómo está todo.
remains = { $value } hasta el límite
remains-unknown = No se sabe cuánto falta; mire abajo qué falta.
coldest-is = La sonda más fría que cuenta marca { $coldest }; debe llegar a { $limit }.
look-due = Alguien debe mirar otra vez antes de
where = Dónde
to-do = Por hacer
not-begun = no ha empezado
to-chill = El enfriado
rack-unbound = no está ligado a ningún plan conocido aquí: nada lo juzga.
probes = Sondas
probe = Sonda
seat = Sitio
seat-air = en el aire
seat-rack = en un carro
shows = Marca
shown-at = Marcado a las
no-probes = No hay ninguna sonda en esta carga: solo lecturas a mano pueden mostrar que se cumple su límite.
support = Lo que lo respalda, y no decide nada
pull-racks = Sacar carros
pull-now = Sacar ahora los carros marcados
overrule = Sacarlos aunque el límite no se cumple: esto abre una desviación.
overrule-why = Por qué se sacan de todos modos
leave-out = Excluir una sonda
left-out-from = Desde cuándo no cuenta, según el reloj de la planta
left-out-why = Por qué no muestra el producto
signs-left-out = Esta sonda no muestra el producto desde esa hora.
chill-title = Enfriado del carro { $code }
chill-not-begun = Este carro sigue en el horno: su enfriado empieza cuando se saca.
out-since = Fuera del horno desde
no-chill-check = Su plan no pide nada del enfriado, o no está ligado a ninguno.
reading-due = Hace falta una lectura antes de
limbs = Tramos del enfriado
limb = De → a
allowed = Permitido
took-least = Al menos
took-most = Como máximo
what-remains = Lo que falta
seen-until = Hasta donde se sabe, a las
nothing-remains = nada
time-is-over = el tiempo se agotó
limb-remains = como máximo { $minutes } min
read-by-hand = Leer a mano
warmest-in = El punto más caliente en { $unit }
mark-due = pendiente
mark-overdue = atrasado
mark-counts = cuenta
mark-not-yet = aún no cumplido
mark-running = en marcha
mark-shipped = enviado

## El día

due = Pendiente y atrasado
nothing-due = Ahora no hay nada con hora fijada.
by-when = Antes de
due-look = Mirar { $product }: { $check }
due-chill = Leer el enfriado del carro { $code }: { $check }
and-more = y más
timeline = El día en los lugares de la planta
timeline-words = Cada franja es un lugar. Una barra dura lo que dice y termina en punta mientras sigue. Lo mismo está en palabras más abajo.
timeline-dropped = { $count ->
    [one] 1 marca no cabe aquí; está más abajo.
   *[other] { $count } marcas no caben aquí; están más abajo.
}
no-places = Todavía no se anotó ningún lugar de la planta.
no-place = Sin lugar
now = ahora
places = Lugares
loads = Cargas
challenges = Desafíos
in-houses = En los hornos
no-load-runs = No hay ninguna carga en un horno.
house = Horno
product = Producto
chilling = Enfriándose
no-chill-runs = No hay ningún enfriado en marcha.
and-racks = y { $count } más
load-of = Carga { $products }
chill-of = Enfriado { $check } { $products }
in-words = El día en palabras
nothing-yet = Todavía no se registró nada en este día.
at-time = Hora
what = Qué
goes-on = sigue
day-before = El día anterior
mark-pulled = sacado
mark-deviation-closed = desviación cerrada
mark-left-unclear = salió antes de estar libre

## Rastreo

trace-title = Rastreo del lote { $code }
trace-words = De izquierda a derecha, como pasa el producto por la planta; el ancho de una línea es la masa que fue por ella. Lo mismo está en la tabla de abajo.
trace-more = De { $all } lotes solo se dibujan los { $shown } más cercanos; los archivos de los exteriores llevan más lejos.
in-table = Lo mismo en una tabla
used-together = para { $count } lotes juntos
other-racks = { $count ->
    [one] Un carro de otro lote estaba en esta carga; está en su página.
   *[other] { $count } carros de otros lotes estaban en esta carga; están en su página.
}
came-of = Vino de
made-at = recibido o hecho en { $place }
shipment = Envío
mark-this = este lote
cases-of = { $count ->
    [one] 1 caja
   *[other] { $count } cajas
}
trace-stage-received = Recibido
trace-stage-kit = Juegos y reproceso
trace-stage-batch = Mezclas
trace-stage-rack = Carros
trace-stage-finished = Terminado
trace-stage-shipped = Salió de la planta

## Revisión, más

waiting-for-review = { $count ->
    [0] Ningún lote espera su revisión.
    [one] 1 lote espera revisión.
   *[other] { $count } lotes esperan revisión.
}
signed-reviews = Revisiones firmadas
no-reviews = Todavía no se firmó ninguna revisión.
reviewer-recorded = había registrado una parte
