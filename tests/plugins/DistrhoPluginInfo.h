// SPDX-License-Identifier: GPL-3.0-or-later
// What the framework must know of `late_gain.cpp` before it is compiled.
#define DISTRHO_PLUGIN_BRAND "the workshop by the sea"
#define DISTRHO_PLUGIN_NAME "Late gain"
#define DISTRHO_PLUGIN_URI "urn:tonebench:tests:late-gain"
#define DISTRHO_PLUGIN_HAS_UI 0
#define DISTRHO_PLUGIN_IS_RT_SAFE 1
#define DISTRHO_PLUGIN_NUM_INPUTS 2
#define DISTRHO_PLUGIN_NUM_OUTPUTS 2
#define DISTRHO_PLUGIN_WANT_LATENCY 1
