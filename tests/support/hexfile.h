// Fixtures as text that a reviewer can read; the rules stand in fixtures/README.md.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace platter::test {

/// The bytes of a fixture, e.g. hex_fixture("label/sun/good.hex"). Throws std::runtime_error with
/// the line that makes no sense.
[[nodiscard]] std::vector<std::byte> hex_fixture(const std::string& name);

/// As hex_fixture, from text.
[[nodiscard]] std::vector<std::byte> hex_text(const std::string& text, const std::string& name);

/// Every fixture below fixtures/, by name, sorted.
[[nodiscard]] std::vector<std::string> all_hex_fixtures();

}  // namespace platter::test
