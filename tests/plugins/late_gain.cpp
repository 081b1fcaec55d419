// SPDX-License-Identifier: GPL-3.0-or-later
// A plug-in for tests: two channels, late by 256 frames and saying so, with a level,
// and a trouble to make on the way: 1 crashes, 2 gives what is no number.
#include "DistrhoPlugin.hpp"

#include <cstdlib>
#include <limits>

START_NAMESPACE_DISTRHO

class LateGain : public Plugin {
public:
    LateGain() : Plugin(2, 0, 0) { setLatency(frames_late); }

protected:
    const char* getLabel() const override { return "late_gain"; }
    const char* getMaker() const override { return DISTRHO_PLUGIN_BRAND; }
    const char* getLicense() const override { return "GPL-3.0-or-later"; }
    uint32_t getVersion() const override { return d_version(1, 2, 3); }
    int64_t getUniqueId() const override { return d_cconst('t', 'b', 'L', 'g'); }

    void initParameter(uint32_t index, Parameter& parameter) override
    {
        parameter.hints = kParameterIsAutomatable;
        parameter.ranges.min = 0.0f;
        if (index == 0) {
            parameter.name = parameter.symbol = "level";
            parameter.ranges.def = 0.5f;
            parameter.ranges.max = 1.0f;
        } else {
            parameter.hints |= kParameterIsInteger;
            parameter.name = parameter.symbol = "trouble";
            parameter.ranges.def = 0.0f;
            parameter.ranges.max = 2.0f;
        }
    }

    float getParameterValue(uint32_t index) const override { return values[index]; }

    void setParameterValue(uint32_t index, float value) override
    {
        values[index] = value;
    }

    void activate() override
    {
        for (auto& channel : held)
            for (float& sample : channel)
                sample = 0.0f;
        place = heard = 0;
    }

    void run(const float** inputs, float** outputs, uint32_t frames) override
    {
        heard += frames;
        const bool is_late = heard > trial_frames; // the take has begun
        if (values[1] == 1.0f && is_late)
            abort();
        const bool is_nan = values[1] == 2.0f && is_late;
        const float level = is_nan ? std::numeric_limits<float>::quiet_NaN() : values[0];
        for (uint32_t frame = 0; frame < frames; ++frame) {
            for (int k = 0; k < 2; ++k) {
                const float sample = inputs[k][frame];
                outputs[k][frame] = level * held[k][place];
                held[k][place] = sample;
            }
            place = (place + 1) % frames_late;
        }
    }

private:
    enum { frames_late = 256, trial_frames = 20000 };
    float values[2] = { 0.5f, 0.0f };
    float held[2][frames_late] = {};
    uint32_t place = 0, heard = 0;
};

Plugin* createPlugin() { return new LateGain(); }

END_NAMESPACE_DISTRHO
