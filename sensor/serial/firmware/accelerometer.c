/*
 * An accelerometer for vibe: an ATmega328P reads an ADXL345 800 times a second and sends
 * each sample as a line of text, t_us,x,y,z, the time in µs and the axes in mg.
 *
 * The sensor keeps the pace. Its DATA_READY line goes to the input capture pin of the
 * timer, so the hardware notes when each sample was ready, to 1 µs or better; the interrupt
 * that follows reads the sample into a queue, and main sends the queue. When the line is
 * slower than the sensor, samples are left out and their times show it. Once a second, and
 * first of all, comes a line that begins with # and says unit, rate and range, or what is
 * wrong with the sensor.
 *
 * [A] ADXL345 data sheet, Rev. E, Analog Devices.
 * [M] ATmega328P data sheet, Microchip; its names are those of avr/io.h.
 */

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <stdbool.h>
#include <stdint.h>

/*
 * A line has up to 32 characters, 800 of them 256000 bits a second. 500000 baud is exact
 * at 16 and at 8 MHz (error 0 %): with U2X it is F_CPU/(8·(UBRR+1)), [M] "Examples of Baud
 * Rate Setting".
 */
#define BAUD 500000UL
#if F_CPU % (8 * BAUD)
#error "500000 baud cannot be made exactly from this F_CPU"
#endif

/* Timer 1 counts at F_CPU/8; TICK_BITS of its count are below 1 µs. */
#if F_CPU == 16000000UL
#define TICK_BITS 1
#elif F_CPU == 8000000UL
#define TICK_BITS 0
#else
#error "F_CPU must be 16000000 or 8000000: the time is counted in binary parts of a µs"
#endif

/* Overflows of timer 1 in a second, 65536 ticks each. */
#define OVERFLOWS (F_CPU / 8 / 65536)

/* Wires: [M] SS, MOSI, MISO, SCK and ICP1 are these pins of port B. */
#define CS _BV(PB2)
#define MOSI _BV(PB3)
#define SCK _BV(PB5)

/* Registers and bits of the sensor, [A] "Register Map"; without a page: from memory. */
enum {
	DEVID = 0x00,       /* always 0xE5 */
	BW_RATE = 0x2C,     /* 0x0D: 800 samples a second, band 400 Hz, [A] Table 7 p. 14 */
	POWER_CTL = 0x2D,   /* 0x08: measure */
	INT_ENABLE = 0x2E,  /* 0x80: DATA_READY; INT_MAP at reset sends it to INT1 */
	DATA_FORMAT = 0x31, /* 0x0B: full resolution, ±16 g, 4 wires, INT1 active high, [A] p. 26 */
	DATAX0 = 0x32,      /* x, y, z, two bytes each, the lower one first */
	READ = 0x80, MANY = 0x40 /* bits beside the address */
};

struct sample {
	uint32_t us;
	int16_t axis[3]; /* 256 a g; from 230 to 282, [A] Table 1 */
};

/* A ring: capture writes at head, main reads at tail. A power of two. */
#define QUEUE 16
static volatile struct sample queue[QUEUE];
static volatile uint8_t head, tail;

static volatile uint32_t overflows; /* of timer 1 */
static volatile uint8_t quiet;      /* overflows since the last sample */

static uint8_t spi(uint8_t out)
{
	SPDR = out;
	loop_until_bit_is_set(SPSR, SPIF);
	return SPDR;
}

static void write_register(uint8_t address, uint8_t value)
{
	PORTB &= ~CS;
	spi(address);
	spi(value);
	PORTB |= CS;
}

static uint8_t read_register(uint8_t address)
{
	PORTB &= ~CS;
	spi(READ | address);
	uint8_t value = spi(0);
	PORTB |= CS;
	return value;
}

/* All six bytes in one go, so that they are of one sample. Ends DATA_READY. */
static void read_axes(volatile int16_t axis[3])
{
	PORTB &= ~CS;
	spi(READ | MANY | DATAX0);
	for (uint8_t k = 0; k < 3; k++) {
		uint8_t low = spi(0);
		axis[k] = (int16_t)(low | (uint16_t)spi(0) << 8);
	}
	PORTB |= CS;
}

/* A sample is ready, and was at ICR1. */
ISR(TIMER1_CAPT_vect)
{
	uint16_t tick = ICR1;
	uint32_t high = overflows;
	if (bit_is_set(TIFR1, TOV1) && tick < 0x8000)
		high++; /* the overflow before it has not been counted yet */
	uint8_t next = (head + 1) % QUEUE;
	volatile struct sample *s = &queue[head];
	s->us = (high << (16 - TICK_BITS)) + (tick >> TICK_BITS);
	read_axes(s->axis);
	quiet = 0;
	if (next != tail)
		head = next;
}

/*
 * DATA_READY stays up until a sample is read; if the edge was missed none would ever come
 * again. So a sample that waits is read, and left out as its time is not known.
 */
ISR(TIMER1_OVF_vect)
{
	int16_t unused[3];
	overflows++;
	if (quiet > 0)
		read_axes(unused);
	if (quiet < 255)
		quiet++;
}

/* Sets the sensor up, standing still while it is, and returns what it calls itself. */
static uint8_t begin(void)
{
	uint8_t id = read_register(DEVID);
	write_register(POWER_CTL, 0);
	write_register(BW_RATE, 0x0D);
	write_register(DATA_FORMAT, 0x0B);
	write_register(INT_ENABLE, 0x80);
	write_register(POWER_CTL, 0x08);
	return id;
}

static void put(char c)
{
	loop_until_bit_is_set(UCSR0A, UDRE0);
	UDR0 = c;
}

static void put_text(PGM_P text)
{
	for (char c; (c = pgm_read_byte(text)); text++)
		put(c);
}

/*
 * Digits by subtraction: at most 90 steps where the library's division of 32 bits takes
 * thousands of cycles a digit, too many at 8 MHz.
 */
static void put_number(uint32_t n)
{
	static const uint32_t powers[] PROGMEM = {1000000000, 100000000, 10000000, 1000000, 100000, 10000, 1000, 100, 10, 1};
	bool begun = false;
	for (uint8_t i = 0; i < 10; i++) {
		uint32_t p = pgm_read_dword(&powers[i]);
		char digit = '0';
		for (; n >= p; n -= p)
			digit++;
		begun |= digit > '0' || i == 9;
		if (begun)
			put(digit);
	}
}

/* Counts as mg, to the nearest: 1000/256 = 125/32. */
static void put_mg(int16_t count)
{
	put(',');
	if (count < 0)
		put('-');
	put_number((125UL * (uint16_t)(count < 0 ? -count : count) + 16) >> 5);
}

static void put_header(uint8_t id)
{
	put_text(PSTR("# unit=mg rate=800 range=16g"));
	if (id != 0xE5) {
		put_text(PSTR(" error=no ADXL345 answers, check its wires; it should say 229 and says "));
		put_number(id);
	} else if (quiet > OVERFLOWS)
		put_text(PSTR(" error=the sensor answers but INT1 is silent, check that wire"));
	put('\n');
}

int main(void)
{
	/* CS is up before the SPI sets its clock's polarity, [A] p. 15. Mode 3, F_CPU/4: at
	 * most 4 MHz, where the sensor takes 5, [A] Table 10 p. 17. */
	PORTB |= CS;
	DDRB |= CS | MOSI | SCK;
	SPCR = _BV(SPE) | _BV(MSTR) | _BV(CPOL) | _BV(CPHA);

	UCSR0A = _BV(U2X0);
	UBRR0 = F_CPU / (8 * BAUD) - 1;
	UCSR0B = _BV(TXEN0); /* 8 bits, no parity, 1 stop at reset */

	/* Noise canceller, rising edge, F_CPU/8. */
	TCCR1B = _BV(ICNC1) | _BV(ICES1) | _BV(CS11);
	TIMSK1 = _BV(ICIE1) | _BV(TOIE1);

	uint8_t id = begin();
	uint32_t told = 0;
	put_header(id);
	set_sleep_mode(SLEEP_MODE_IDLE);
	sei();
	for (;;) {
		cli();
		uint32_t now = overflows;
		if (head == tail && now - told < OVERFLOWS) {
			sleep_enable();
			sei(); /* the next instruction is still run before any interrupt */
			sleep_cpu();
			sleep_disable();
			continue;
		}
		if (now - told >= OVERFLOWS) {
			if (quiet > OVERFLOWS)
				id = begin(); /* it lost its power, or its wires */
			sei();
			told = now;
			put_header(id);
			continue;
		}
		sei();
		volatile struct sample *s = &queue[tail];
		put_number(s->us);
		for (uint8_t k = 0; k < 3; k++)
			put_mg(s->axis[k]);
		put('\n');
		tail = (tail + 1) % QUEUE;
	}
}
