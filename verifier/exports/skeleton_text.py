"""The program around the exported rules as text: what is the same for every board.

Words between @ are filled in by :mod:`verifier.exports.skeleton`.
"""

TEXT = """\
/* A program around @CORE@. This file is NOT proved: it brings pins to `in` and `out` to pins. Test
   what you build with the test card. Change it as your board needs; leave @CORE@ as it is.

   For an ATmega328P: avr-gcc -mmcu=atmega328p -DF_CPU=16000000UL -Os -std=c99 THIS.c -o board.elf
   For a simulator on a host: cc -std=c99 -DBOARD_HOST THIS.c simulator.c, where the simulator has
   board_closed(), board_output() and calls board_tick() once for each millisecond.

   An input is closed where its wire is joined to the return. Outputs are on while high, those to
   LEDs with a common anode while low: from a reset until the program sets them, pins float. */

#include "@CORE@"

/* An input counts once it has been the same for so long: contacts bounce. */
#define DEBOUNCE_MS 20
/* Half a period of what flashes. */
#define FLASH_MS 500
/* Lamps are on for so many milliseconds of eight: 8 is full brightness. */
#define BRIGHTNESS 8

/* So many milliseconds after a reset each lamp is lit, one lamp after another in the order of their
   pins, before any signal shows anything: 0 for no such test. Let no train run meanwhile. */
#ifndef LAMP_TEST_MS
#define LAMP_TEST_MS 0
#endif

/* Pins, by what is wired to them. On an ATmega328P 0-7 are port D, 8-13 port B, 14-19 port C. */
static const uint8_t input_pins[@INPUTS@] = {
@INPUT_PINS@
};
static const uint8_t output_pins[@OUTPUTS@] = {
@OUTPUT_PINS@
};
/* For each input the first of those that count together: wires that tell one thing. */
static const uint8_t together[@INPUTS@] = {@FIRSTS@};
/* For each output the level at which it is on. */
static const bool output_on[@OUTPUTS@] = {@OUTPUT_ON@};
static const bool is_lamp[@OUTPUTS@] = {@IS_LAMP@};

bool board_closed(uint8_t pin);
void board_output(uint8_t pin, bool on);
void board_tick(void);

@STATE@
static bool started;
/* Until inputs can count, nothing is worked out: heads are at red and nothing moves. */
static uint8_t begun;
static bool stable[@INPUTS@];
static bool latest[@INPUTS@];
/* By the first of those that count together: for how long none of them has changed. */
static uint8_t unchanged[@INPUTS@];
static uint16_t flash_clock;
static uint8_t dim_clock;

/* Whether an input is closed, and has been for a while. */
static bool closed(uint8_t number)
{
    return stable[number];
}

static void debounce(void)
{
    for (uint8_t i = 0; i < @INPUTS@u; i++) {
        const bool now = board_closed(input_pins[i]);
        if (now != latest[i]) {
            latest[i] = now;
            unchanged[together[i]] = 0u;
        }
    }
    for (uint8_t i = 0; i < @INPUTS@u; i++) {
        if (together[i] == i && unchanged[i] < DEBOUNCE_MS) {
            unchanged[i]++;
        }
        if (unchanged[together[i]] >= DEBOUNCE_MS) {
            stable[i] = latest[i];
        }
    }
}

/* Whether the lamp of a color is on now, where a head is to show this. */
static bool lit(uint8_t shows, uint8_t color)
{
    const bool flashing = shows >= 16u;
    const bool now = !flashing || flash_clock < FLASH_MS;
    return (flashing ? shows - 16u : shows) == color && now && dim_clock < BRIGHTNESS;
}

static void drive(uint8_t number, bool on)
{
    board_output(output_pins[number], on == output_on[number]);
}

/* Which output the lamp test is at; at the end, how many outputs there are. */
static uint8_t tested;
static uint16_t test_clock;

/* Lamps are dark but for the one under test, while the test lasts. */
static void drive_lamp(uint8_t number, bool on)
{
    drive(number, tested < @OUTPUTS@u ? tested == number : on);
}

static void test_lamps(void)
{
    while (tested < @OUTPUTS@u && (!is_lamp[tested] || ++test_clock > LAMP_TEST_MS)) {
        tested++;
        test_clock = 0u;
    }
}

/* Once for each millisecond. */
void board_tick(void)
{
    flash_clock = (flash_clock + 1u < 2u * FLASH_MS) ? (uint16_t)(flash_clock + 1u) : 0u;
    dim_clock = (uint8_t)((dim_clock + 1u) % 8u);
    test_lamps();
    debounce();
@READS@
    if (begun < DEBOUNCE_MS) {
        begun++;
    }
    else {
@STEP@
    }
@WRITES@
    (void)closed;
    (void)lit;
    (void)drive;
    (void)drive_lamp;
    (void)started;
}

#if defined(__AVR_ATmega328P__) && !defined(BOARD_HOST)

#include <avr/io.h>
#include <avr/wdt.h>

@ENOUGH@
static volatile uint8_t *port_of(uint8_t pin)
{
    return pin < 8u ? &PORTD : pin < 14u ? &PORTB : &PORTC;
}

static uint8_t bit_of(uint8_t pin)
{
    return (uint8_t)(1u << (pin < 8u ? pin : pin < 14u ? pin - 8u : pin - 14u));
}

bool board_closed(uint8_t pin)
{
    const uint8_t now = pin < 8u ? PIND : pin < 14u ? PINB : PINC;
    return !(now & bit_of(pin));
}

void board_output(uint8_t pin, bool on)
{
    volatile uint8_t *port = port_of(pin);
    *port = (uint8_t)(on ? (*port | bit_of(pin)) : (*port & (uint8_t)~bit_of(pin)));
}

int main(void)
{
    for (uint8_t i = 0; i < sizeof input_pins; i++) {
        board_output(input_pins[i], true);  /* pull-up */
    }
    for (uint8_t i = 0; i < sizeof output_pins; i++) {
        const uint8_t pin = output_pins[i];
        board_output(pin, !output_on[i]);  /* off, before it is an output */
        volatile uint8_t *way = pin < 8u ? &DDRD : pin < 14u ? &DDRB : &DDRC;
        *way |= bit_of(pin);
    }
    /* Timer 0 comes round once for each millisecond: 16 MHz / 64 / 250. */
    TCCR0A = 1 << WGM01;
    OCR0A = 249;
    TCCR0B = (1 << CS01) | (1 << CS00);
    wdt_enable(WDTO_500MS);
    for (;;) {
        if (TIFR0 & (1 << OCF0A)) {
            TIFR0 = 1 << OCF0A;
            board_tick();
            wdt_reset();
        }
    }
}

#endif
"""
